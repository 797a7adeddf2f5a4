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

for await (const path of createInterface({ input: process.stdin })) {
  const svg = readFileSync(path, 'utf8').replace(/^<\?xml[^>]*\?>/, '');
  await page.evaluate((text) => { document.querySelector('div').innerHTML = text; }, svg);
  const { data } = await session.send('Page.captureScreenshot', { format: 'png', optimizeForSpeed: true });
  const png = Buffer.from(data, 'base64');
  const length = Buffer.alloc(4);
  length.writeUInt32BE(png.length);
  process.stdout.write(length);
  process.stdout.write(png);
}
await browser.close();
