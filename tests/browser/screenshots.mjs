// Pictures of the page for README.md: the answer, the timeline and one event of a check; coverage by kind and one
// probability of detection of a campaign.
// Usage: NODE_PATH=... node screenshots.mjs REPORT.html FOLDER [light|dark] [CHANNEL OF THE CURVE]
import { createRequire } from "node:module";
import { join, resolve } from "node:path";
import { pathToFileURL } from "node:url";

const { chromium } = createRequire(import.meta.url)("playwright-core");
const [report, folder, colorScheme = "light", channel = "airspeed"] = process.argv.slice(2);
const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--no-sandbox"],
});
try {
  const page = await browser.newPage({ viewport: { width: 1100, height: 900 }, colorScheme });
  await page.goto(pathToFileURL(resolve(report)).href);
  await page.waitForFunction(() => "ready" in document.documentElement.dataset, null, { timeout: 120000 });
  const picture = async (part, name) => {
    if (await part.count()) await part.first().screenshot({ path: join(folder, `report_${name}.png`) });
  };
  if (await page.locator("#answer").count()) await page.screenshot({ path: join(folder, "report_answer.png") });
  await picture(page.locator("#timeline .timeline"), "timeline");
  const event = page.locator("article.event", { hasText: "airspeed" }).first();
  if (await event.count()) {
    await event.locator("details.stepper summary").click();
    await event.locator(".view canvas").focus();
    await page.keyboard.press("ArrowRight");
    await page.waitForTimeout(300);
    await picture(event, "event");
  }
  await picture(page.locator("section#campaign table"), "coverage");
  const curves = page.locator("section#campaign details", { hasText: "Curves" });
  if (await curves.count()) {
    await curves.locator("summary").click();
    await picture(curves.locator("figure", { hasText: channel }), "detection");
  }
} finally {
  await browser.close();
}
