// The page as a reviewer uses it, in headless Chromium: no console error, every section, the stepper by mouse and
// by keyboard, pixel values equal to the PNG's, printing (with pictures, also by the browser's own command), a phone's width,
// the page's policy, and axe-core in light and dark.
// Usage: NODE_PATH=... node page.mjs REPORT.html RESULTS [--open-only | --campaign | --suite]
// RESULTS is the folder that the report was made of. Prints the time to open; does not judge it. `--open-only` leaves
// the stepper out; `--campaign` is for the page of a campaign (and a tuning) without a check, `--suite` for that of a suite.
import { createRequire } from "node:module";
import { existsSync, mkdtempSync, readFileSync, rmSync } from "node:fs";
import { execFileSync } from "node:child_process";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { pathToFileURL } from "node:url";
import assert from "node:assert/strict";

const require = createRequire(import.meta.url);
const { chromium } = require("playwright-core");
const [report, results, mode] = process.argv.slice(2);
const address = pathToFileURL(resolve(report)).href;
const isCheck = !["--campaign", "--suite"].includes(mode);
const sections = mode === "--suite"
  ? ["answer", "cautions", "changes", "requirements", "runs", "tags", "reproduce", "manifest"]
  : mode === "--campaign"
  ? ["answer", "cautions", "requirements", "campaign", "reproduce", "manifest"]
  : ["answer", "cautions", "timeline", "events", "requirements", "readings", "reproduce", "manifest"];
let passed = 0;
const done = (what) => { passed += 1; console.log(`ok ${what}`); };

const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--no-sandbox"],
});
try {
  const page = await browser.newPage({ viewport: { width: 1280, height: 900 } });
  // On a machine that is busy with other things everything takes its time; nothing here is judged by it.
  page.setDefaultTimeout(180000);
  const problems = [];
  page.on("console", (m) => { if (["error", "warning"].includes(m.type())) problems.push(m.text()); });
  page.on("pageerror", (e) => problems.push(String(e)));
  page.on("request", (r) => { if (!r.url().startsWith("data:") && r.url() !== address) problems.push(`asks for ${r.url()}`); });
  const began = performance.now();
  await page.goto(address);
  await page.evaluate(() => new Promise((done) => requestAnimationFrame(() => setTimeout(done))));
  console.log(`opened in ${((performance.now() - began) / 1000).toFixed(2)} s`);
  await page.waitForFunction(() => "ready" in document.documentElement.dataset, null, { timeout: 120000 });

  const policy = await page.locator("meta[http-equiv=Content-Security-Policy]").getAttribute("content");
  assert.ok(policy.startsWith("default-src 'none';") && /script-src 'sha256-[^']+'/.test(policy) && /style-src 'sha256-[^']+'/.test(policy), policy);
  assert.ok(!policy.includes("unsafe"), policy);
  // What got into the page by other ways does not run.
  await page.evaluate(() => {
    const script = document.createElement("script");
    script.textContent = "document.documentElement.dataset.foreign = ''";
    document.body.append(script);
    script.remove();
  });
  assert.equal(await page.evaluate(() => "foreign" in document.documentElement.dataset), false);
  problems.splice(0, problems.length, ...problems.filter((p) => !p.includes("Content Security Policy") || !p.includes("inline script")));
  done("the policy lets the page's own script run, and no other");

  for (const id of sections) assert.equal(await page.locator(`section#${id} h2`).count(), 1, id);
  done("every section is there");

  if (isCheck) {
    // Pictures of events are there without a script, each of the three with its magnified part.
    const still = await browser.newPage({ javaScriptEnabled: false });
    still.setDefaultTimeout(180000);
    await still.goto(address);
    const events = await still.locator(".pictures").count();
    const pictures = await still.locator(".pictures img").evaluateAll((all) => all.map((p) => [p.complete, p.naturalWidth, p.naturalHeight, p.alt]));
    assert.equal(pictures.length, 6 * events);
    for (const [isThere, width, height, alt] of pictures) assert.ok(isThere && width > 1 && height > 1 && alt, `${alt}: ${width} x ${height}`);
    await still.close();
    done(`${pictures.length} pictures are there without a script`);
  }

  if (mode === "--suite") {
    const suite = JSON.parse(readFileSync(join(results, "suite.json"), "utf8"));
    const faulty = suite.runs.filter((r) => r.events.length);
    const shown = await page.locator("#answer .answer").getAttribute("data-standing");
    if (faulty.length) assert.equal(shown, "bad");
    const rows = await page.locator("section#runs tbody tr").allTextContents();
    assert.equal(rows.length, suite.runs.length);
    suite.runs.forEach((r, k) => assert.ok(rows[k].startsWith(r.id) && rows[k].includes(r.result), rows[k]));
    // Runs against requirements, in words: what the record says, cell by cell.
    const words = { fault: "fault", agrees: "agrees", no_region: "no region", not_exercised: "not exercised", partly_exercised: "partly" };
    const cells = await page.locator("table.matrix").evaluateAll((tables) => tables.flatMap((t) => {
      const ids = [...t.tHead.rows[0].cells].slice(1).map((c) => c.textContent);
      return [...t.tBodies[0].rows].slice(1).flatMap((r) => [...r.cells].slice(1).map((c, k) => [r.cells[0].textContent, ids[k], c.textContent]));
    }));
    for (const [run, id, told] of cells) {
      const finding = suite.runs.find((r) => r.id === run).requirements[id];
      assert.ok(finding ? told.endsWith(words[finding]) : told === "-", `${run}, ${id}: ${told}`);
    }
    const named = new Set(suite.runs.flatMap((r) => Object.keys(r.requirements)));
    assert.equal(cells.length, suite.runs.length * named.size);
    // What is new leads to the event on the run's own page.
    const links = await page.locator("section#changes a").evaluateAll((all) => all.map((a) => a.getAttribute("href")));
    assert.equal(links.length, suite.all.new_events);
    for (const link of links) {
      const [file, anchor] = link.split("#");
      assert.ok(readFileSync(join(results, file), "utf8").includes(`id="${anchor}"`), link);
    }
    done(`${cells.length} cells say what the record says, and ${links.length} new events lead to their pages`);
  } else if (mode === "--campaign") {
    const campaign = JSON.parse(readFileSync(join(results, "campaign.json"), "utf8"));
    const text = await page.locator("section#campaign").textContent();
    for (const row of campaign.by_kind) assert.ok(text.includes(row.kind), `the table lacks ${row.kind}`);
    // The answer is the worst of all: a limit that is not kept, a demand that nothing meets.
    const broken = campaign.limits.filter((l) => l.within.k < l.within.n);
    const answer = page.locator("#answer .answer");
    const told = await answer.textContent();
    const shown = await answer.getAttribute("data-standing");
    const isUntold = campaign.limits.length === 0 || campaign.limits.some((l) => l.within.n === 0);
    if (broken.length) assert.ok(shown === "bad" && told.includes("NOT KEPT"), told);
    else if (isUntold) assert.notEqual(shown, "good", told);
    const rows = await page.locator("section#requirements tbody tr").allTextContents();
    for (const id of broken.flatMap((l) => l.requirements))
      assert.ok(rows.some((r) => r.startsWith(id) && r.includes("does not hold")), `${id} is broken by a limit`);
    done(`the answer is the worst of all: ${shown}`);
    const closed = page.locator("section#campaign details:not([open]) > summary");
    while (await closed.count()) await closed.first().press("Enter");
    const plots = page.locator("section#campaign svg");
    assert.ok(await plots.count() > 0, "no plot");
    for (const plot of await plots.all()) {
      const box = await plot.boundingBox();
      assert.ok(box.width > 200 && box.height > 100, "a plot has no size");
      assert.ok((await plot.locator("text").count()) > 3, "a plot has no words");
    }
    const tuning = page.locator("section#tuning");
    if (await tuning.count()) {
      assert.ok(await tuning.locator("svg").count() > 0, "the tuning has no plot");
      const words = await tuning.textContent();
      if (words.includes("Not every region concerned")) {
        assert.equal(shown, "bad", told);
        assert.match(told, /no set of thresholds meets the demand/i);
        assert.ok(!/recommended: missed/i.test(words), "recommended, though nothing meets the demand");
      }
      const said = await tuning.locator("li").allTextContents();
      assert.equal(new Set(said.map((s) => s.split(". Holds for")[0])).size, said.length, "the same sentence twice");
      const named = campaign.by_region.filter((r) => r.region !== "*" && words.includes(r.region));
      assert.ok(named.length > 1, "the tuning names no regions");
      done("the tuning shows its regions and its trade-off");
    }
    done(`the tables name every kind, and ${await plots.count()} plots have words`);
  } else {
    const strips = page.locator(".strips").first();
    const told = () => page.locator(".timeline output").first().textContent();
    await strips.focus();
    const before = await told();
    await page.keyboard.press("ArrowDown");
    await page.keyboard.press("ArrowRight");
    assert.notEqual(await told(), before);
    if (await page.locator("article.event").count()) {
      await page.keyboard.press("n");
      assert.match(await told(), /event /);
    }
    await page.keyboard.press("0");
    const box = await strips.boundingBox();
    await page.mouse.move(box.x + box.width * 0.7, box.y + 60);
    await page.mouse.wheel(0, -400);
    assert.match(await told(), /frame \d+/);
    done("the timeline answers mouse and keyboard");
  }

  if (!mode) {
    const stills = JSON.parse(readFileSync(join(results, "stills.json"), "utf8"));
    const stepper = page.locator("details.stepper").first();
    await stepper.locator("summary").focus();
    await page.keyboard.press("Enter");
    const out = stepper.locator("output");
    await page.waitForFunction((e) => e.textContent.startsWith("frame "), await out.elementHandle());
    const anchor = await page.locator("article.event:has(details.stepper)").first().getAttribute("id");
    const event = stills.events.find((s) => `r1-e${s.event}` === anchor);
    const parse = async () => {
      const text = await out.textContent();
      const m = text.match(/^frame (\d+) .*x (\d+), y (\d+): captured (\d+ \d+ \d+), reference (\d+ \d+ \d+), largest difference (\d+)$/);
      assert.ok(m, text);
      return { frame: +m[1], x: +m[2], y: +m[3], captured: m[4], reference: m[5], difference: +m[6] };
    };
    // The PNG's levels by a decoder that is not the browser's.
    const level = (path, x, y) => execFileSync("python3", ["-c",
      "import sys; from PIL import Image; print(*Image.open(sys.argv[1]).convert('RGB').getpixel((int(sys.argv[2]), int(sys.argv[3]))))",
      join(results, path), String(x), String(y)], { encoding: "utf8" }).trim();
    const compare = async () => {
      const shown = await parse();
      const still = event.stills.find((s) => s.frame === shown.frame);
      const [x, y] = [shown.x - event.area[0], shown.y - event.area[1]];
      assert.equal(shown.captured, level(still.captured, x, y));
      assert.equal(shown.reference, level(still.reference, x, y));
      const [a, b] = [shown.captured, shown.reference].map((t) => t.split(" ").map(Number));
      assert.equal(shown.difference, Math.max(...a.map((v, k) => Math.abs(v - b[k]))));
      return shown;
    };
    await compare();
    const canvas = stepper.locator(".view canvas");
    await canvas.focus();
    const first = await parse();
    for (const key of ["ArrowLeft", "ArrowUp", "Shift+ArrowLeft"]) await page.keyboard.press(key);
    const moved = await compare();
    assert.equal(moved.x, first.x - 11);
    assert.equal(moved.y, first.y - 1);
    await page.keyboard.press(await stepper.locator("input[name^=frame-]").first().isChecked() ? "." : ",");
    await page.waitForFunction(([e, f]) => !e.textContent.startsWith(`frame ${f} `), [await out.elementHandle(), moved.frame]);
    await compare();
    await page.keyboard.press("d");
    assert.ok(await stepper.locator("input[value=difference]").isChecked());
    done("the stepper works by keyboard, and its values are the PNG's");

    await stepper.locator("input[value=reference]").check();
    await stepper.locator("input[name^=frame-]").last().check();
    // The page may hold fewer frames than the folder: its own list counts.
    const last = parseInt(await stepper.locator("label:has(input[name^=frame-])").last().textContent(), 10);
    await page.waitForFunction(([e, f]) => e.textContent.startsWith(`frame ${f} `), [await out.elementHandle(), last]);
    const view = await canvas.boundingBox();
    const { left, top } = await canvas.evaluate((c) => c.getBoundingClientRect());
    await page.mouse.move(left + Math.min(view.width, 60) - 3, top + 21);
    const pointed = await compare();
    const zoom = +await stepper.locator("select").inputValue();
    assert.equal(pointed.y - event.area[1], Math.floor(21 / zoom));
    done("the stepper works by mouse, and its values are the PNG's");
  }

  const axe = process.env.NODE_PATH?.split(":").map((p) => join(p, "axe-core/axe.min.js")).find(existsSync);
  assert.ok(axe, "axe-core is not on NODE_PATH");
  for (const colorScheme of ["light", "dark"]) {
    await page.emulateMedia({ colorScheme });
    // Not addScriptTag: the page's own policy takes no scripts from elsewhere.
    await page.evaluate(readFileSync(axe, "utf8") + "; undefined");
    const found = await page.evaluate(() => axe.run(document, { resultTypes: ["violations"] }));
    const list = found.violations.map((v) => `${v.id}: ${v.help}: ${v.nodes.slice(0, 3).map((n) => n.html.slice(0, 160) + " " + n.failureSummary).join(" | ")}`);
    assert.deepEqual(list, [], colorScheme);
    done(`no violation in ${colorScheme}`);
  }

  // A phone: nothing is cut at the right, what is wider can be moved and says so, and no word is broken letter by letter.
  await page.emulateMedia({ colorScheme: "light" });
  await page.setViewportSize({ width: 390, height: 844 });
  await page.evaluate(() => new Promise((done) => setTimeout(done, 300)));
  const phone = await page.evaluate(() => {
    const found = { width: document.documentElement.scrollWidth, cut: [], unsaid: [], broken: [], wide: 0 };
    const name = (e) => `${e.tagName.toLowerCase()}.${e.className.baseVal ?? e.className}: ${e.textContent.trim().slice(0, 50)}`;
    for (const e of document.querySelectorAll("main p, main li, main h2, main h3, main dd, main dt, main caption, main figcaption, main td, main th, main pre")) {
      const box = e.getBoundingClientRect();
      if (!box.width || e.closest("details:not([open])")) continue;
      if (box.right > innerWidth + 1 && !e.closest(".wide")) found.cut.push(name(e));
      // The longest word in the room that it has: broken letter by letter it has no room.
      const style = getComputedStyle(e), room = e.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight);
      const longest = Math.max(0, ...e.textContent.split(/[^\p{L}\p{N}_.-]+/u).map((w) => w.length));
      if (longest > 3 && room < Math.min(longest, 8) * parseFloat(style.fontSize) * 0.45) found.broken.push(name(e));
    }
    for (const e of document.querySelectorAll(".wide")) {
      if (e.closest("details:not([open])") || e.scrollWidth <= e.clientWidth + 2) continue;
      found.wide += 1;
      if (!e.hasAttribute("data-more") || e.tabIndex !== 0 || getComputedStyle(e, "::before").content === "none") found.unsaid.push(name(e));
    }
    return found;
  });
  assert.ok(phone.width <= 390, `the page is ${phone.width} px wide on a phone`);
  assert.deepEqual([phone.cut, phone.unsaid, phone.broken], [[], [], []]);
  assert.ok(phone.wide > 0, "no table is wider than a phone");
  await page.setViewportSize({ width: 1280, height: 900 });
  done(`at 390 px nothing is cut, and ${phone.wide} boxes say that there is more`);

  const folder = mkdtempSync(join(tmpdir(), "page-"));
  try {
    const pdf = join(folder, "page.pdf");
    await page.pdf({ path: process.env.KEEP_PDF ?? pdf, preferCSSPageSize: true, printBackground: true });
    const text = execFileSync("pdftotext", ["-layout", process.env.KEEP_PDF ?? pdf, "-"], { encoding: "utf8" });
    const pages = text.split("\f").slice(0, -1);
    assert.ok(pages.length >= 3, `${pages.length} pages`);
    pages.forEach((p, k) => {
      assert.ok(p.includes(`page ${k + 1} of ${pages.length}`), `page ${k + 1} has no number`);
      assert.ok(p.includes("Evidence report"), `page ${k + 1} has no header`);
    });
    done(`printing gives ${pages.length} numbered pages`);

    if (mode === "--suite") {
      const suite = JSON.parse(readFileSync(join(results, "suite.json"), "utf8"));
      const words = new Set(text.split(/\s+/));
      for (const r of suite.runs) assert.ok(words.has(r.id), `${r.id} is not in print`);
      // The room between the margins of a sheet; what is wider would be cut.
      await page.emulateMedia({ media: "print" });
      await page.setViewportSize({ width: Math.floor((210 - 26) / 25.4 * 96), height: 1000 });
      const cut = await page.evaluate(() => [...document.querySelectorAll("main th, main td, main p, main li, main dd")]
        .filter((e) => e.getBoundingClientRect().right > innerWidth + 1 || e.scrollWidth > e.clientWidth + 1)
        .map((e) => e.textContent.slice(0, 60)));
      assert.deepEqual(cut, []);
      done("nothing is cut in print");
    } else if (isCheck) {
      // As anybody prints it, without waiting for anything: the pictures are in it, and more than one event fits on a sheet.
      const plain = join(folder, "plain.pdf");
      execFileSync(process.env.CHROMIUM ?? "/usr/bin/chromium",
        ["--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer", `--print-to-pdf=${plain}`, address], { stdio: "ignore" });
      const cards = await page.locator("article.event").count();
      const sheets = execFileSync("pdftotext", ["-layout", plain, "-"], { encoding: "utf8" }).split("\f").slice(0, -1);
      const holding = sheets.filter((s) => /^\s*(R\d+-)?E\d+: /m.test(s)).length;
      assert.ok(cards < 4 || holding <= Math.ceil(cards / 2) + 1, `${cards} events take ${holding} sheets`);
      const shown = await page.locator(".pictures").count();
      // The legend's samples of verdicts are 28 px wide. Of the pictures of events none was in the file before (c5def52: black
      // boxes); pictures of one colour take next to nothing, and a display that was blank may give three of an event.
      const rows = execFileSync("pdfimages", ["-list", plain], { encoding: "utf8" }).split("\n").slice(2).map((r) => r.trim().split(/\s+/));
      const bytes = (size) => parseFloat(size) * ({ B: 1, K: 1024, M: 1048576 }[size.slice(-1)] ?? 1);
      const lively = rows.filter((r) => r[2] === "image" && +r[3] > 28 && bytes(r.at(-2)) > 100).length;
      assert.ok(lively >= 3 * shown, `${lively} pictures of more than one colour are in print, of ${shown} events`);
      done(`printed by the browser's own command, ${lively} pictures of ${shown} events are there, on ${holding} sheets`);
    }
  } finally {
    rmSync(folder, { recursive: true });
  }
  assert.deepEqual(problems, []);
  done("no console error, nothing asked for from outside");
} finally {
  await browser.close();
}
console.log(`${passed} passed, 0 failed`);
