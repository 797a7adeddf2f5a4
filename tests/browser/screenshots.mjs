// Pictures of the page for README.md: the answer, the timeline and one event.
// Usage: NODE_PATH=... node screenshots.mjs REPORT.html FOLDER [light|dark] [PREFIX]
import { createRequire } from "node:module";
import { join, resolve } from "node:path";
import { pathToFileURL } from "node:url";

const { chromium } = createRequire(import.meta.url)("playwright-core");
const [report, folder, colorScheme = "light", prefix = "report"] = process.argv.slice(2);
const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--no-sandbox"],
});
try {
  const page = await browser.newPage({ viewport: { width: 1100, height: 900 }, colorScheme });
  await page.goto(pathToFileURL(resolve(report)).href);
  await page.waitForFunction(() => "ready" in document.documentElement.dataset, null, { timeout: 120000 });
  await page.screenshot({ path: join(folder, `${prefix}_answer.png`) });
  await page.locator("#timeline .timeline").first().screenshot({ path: join(folder, `${prefix}_timeline.png`) });
  const event = page.locator("article.event", { hasText: "airspeed" }).first();
  if (await event.count()) {
    await event.locator("details.stepper summary").click();
    await event.locator(".view canvas").focus();
    await page.keyboard.press("ArrowRight");
    await page.waitForTimeout(300);
    await event.screenshot({ path: join(folder, `${prefix}_event.png`) });
  }
} finally {
  await browser.close();
}
