// How long the page of 500 frames takes to open, beside a bare page with the same bytes as inert data; machines differ,
// the ratio less so.   ctest -R browser.make_pages && POLEWRIGHT_PAGES=… POLEWRIGHT_CHROMIUM=… node load_bench.mjs
import fs from "node:fs";
import path from "node:path";
import { chromium } from "playwright-core";

const RUNS = 7;
const page500 = path.join(process.env.POLEWRIGHT_PAGES, "long_night.html"), bare = path.join(process.env.POLEWRIGHT_PAGES, "bare.html");
const html = fs.readFileSync(page500, "utf8");
const data = [...html.matchAll(/<script type="application\/json"[^>]*>[^]*?<\/script>/g)].map((m) => m[0]).join("\n");
fs.writeFileSync(bare, `<!DOCTYPE html><title>bare</title>${data}<script>JSON.parse(document.scripts[0].textContent)</script>`);

const browser = await chromium.launch({ executablePath: process.env.POLEWRIGHT_CHROMIUM, args: process.getuid() === 0 ? ["--no-sandbox"] : [] });
async function opened(file) {
  const times = [];
  for (let i = 0; i < RUNS; ++i) {
    const page = await (await browser.newContext({ viewport: { width: 1200, height: 900 } })).newPage();
    await page.goto(`file://${file}`);
    times.push(await page.evaluate(() => new Promise((done) => requestAnimationFrame(() => setTimeout(() => done(performance.now()))))));
    await page.context().close();
  }
  return times.sort((a, b) => a - b);
}
const a = await opened(page500), b = await opened(bare), middle = (t) => t[(RUNS - 1) / 2];
console.log(`500 frames: median ${middle(a).toFixed(0)} ms, best ${a[0].toFixed(0)} ms; bare page of the same data: median ${middle(b).toFixed(0)} ms; ratio ${(middle(a) / middle(b)).toFixed(1)}`);
await browser.close();
