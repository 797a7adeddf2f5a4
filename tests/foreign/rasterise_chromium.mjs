// Draws SVG files in one page of a headless Chromium.
// Usage: node rasterise_chromium.mjs CHROMIUM WIDTH HEIGHT [FONT_FOLDER]
// Standard input: a path a line. Standard output: for each a PNG after its length (4 bytes, big endian).
// playwright-core is found through NODE_PATH.
import { createRequire } from 'node:module';
import { createInterface } from 'node:readline';
import { readFileSync, readdirSync } from 'node:fs';
import { join } from 'node:path';

const { chromium } = createRequire(import.meta.url)('playwright-core');
const [executablePath, width, height, fontFolder] = process.argv.slice(2);
const size = { width: Number(width), height: Number(height) };

// Family and weight as the faces name themselves, e.g. B612Mono-Bold.ttf.
function fontFaces(folder) {
  if (!folder) return '';
  return readdirSync(folder).filter((name) => name.endsWith('.ttf')).map((name) => {
    const [family, style] = name.replace('.ttf', '').split('-');
    const data = readFileSync(join(folder, name)).toString('base64');
    return `@font-face { font-family: "${family.replace('Mono', ' Mono')}";
      font-weight: ${style === 'Bold' ? 700 : 400}; src: url(data:font/ttf;base64,${data}); }`;
  }).join('\n');
}

const browser = await chromium.launch({
  executablePath,
  args: ['--headless', '--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run',
    '--disable-background-networking', '--disable-component-update', '--disable-sync',
    '--force-device-scale-factor=1', '--force-color-profile=srgb', '--disable-lcd-text'],
});
const page = await browser.newPage({ viewport: size, deviceScaleFactor: 1 });
await page.setContent(`<!doctype html><style>${fontFaces(fontFolder)}
  html, body { margin: 0; background: #000; overflow: hidden } svg { display: block }</style><div></div>`);
await page.evaluate(() => Promise.all([...document.fonts].map((face) => face.load())));
const session = await page.context().newCDPSession(page);

// A frame is mostly the one before: elements that are the same in both stay in the page, which then draws only what changed. `draw`
// writes an element a line; a file that is written otherwise is shown whole.
const MARK = /^<(svg[ >].*|defs|\/defs|\/svg)>$/;
const ELEMENT = /^<(\w+)[^>]*(\/>|>.*<\/\1>)$/;

// In place of each line, the number of the same line of the frame before where it can stay, in order.
function changes(lines, before) {
  const places = new Map();
  before.forEach((line, k) => places.set(line, [...(places.get(line) ?? []), k]));
  let next = 0;
  return lines.map((line) => {
    const k = MARK.test(line) ? undefined : places.get(line)?.find((place) => place >= next);
    if (k === undefined) return line;
    next = k + 1;
    return k;
  });
}

// Runs in the page: `window.kept` has the element of each line of the frame before.
function replace(lines) {
  const named = (text) => {
    const parent = document.createElementNS('http://www.w3.org/2000/svg', 'svg');
    parent.innerHTML = text;
    return parent.firstElementChild;
  };
  const kept = window.kept;
  const stays = new Set(lines.filter((line) => typeof line === 'number'));
  kept.forEach((element, k) => { if (!stays.has(k)) element?.remove(); });
  const defs = document.querySelector('defs');
  let last = defs;
  window.kept = lines.map((line) => {
    if (line === '<defs>') last = null;
    if (line === '</defs>') last = defs;
    const element = typeof line === 'number' ? kept[line] : /^<(svg|\/|defs)/.test(line) ? null : named(line);
    if (!element) return null;
    if (!last) defs.prepend(element);
    else if (last.nextSibling !== element) last.after(element);
    last = element;
    return element;
  });
}

let before = null;
async function show(svg) {
  const lines = svg.trim().split('\n');
  const isPlain = lines.includes('<defs>') && lines.every((line) => MARK.test(line) || ELEMENT.test(line));
  if (isPlain && before?.[0] === lines[0]) {
    await page.evaluate(replace, changes(lines, before));
  } else {
    await page.evaluate((text) => {
      document.querySelector('div').innerHTML = text;
      window.kept = null;
    }, svg);
    // From here on elements can be kept.
    if (isPlain) {
      await page.evaluate((all) => {
        const elements = [...document.querySelectorAll('defs > *, svg > :not(defs)')];
        window.kept = all.map((isElement) => (isElement ? elements.shift() : null));
      }, lines.map((line) => !MARK.test(line)));
    }
  }
  before = isPlain ? lines : null;
}

for await (const path of createInterface({ input: process.stdin })) {
  await show(readFileSync(path, 'utf8').replace(/^<\?xml[^>]*\?>/, ''));
  const { data } = await session.send('Page.captureScreenshot', { format: 'png', optimizeForSpeed: true });
  const png = Buffer.from(data, 'base64');
  const length = Buffer.alloc(4);
  length.writeUInt32BE(png.length);
  process.stdout.write(length);
  process.stdout.write(png);
}
await browser.close();
