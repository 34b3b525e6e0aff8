// How long the page of 500 frames takes to open, beside a bare page with the same bytes as inert data; machines differ,
// the ratio less so. The processor time of the page's own process tells what a busy machine would hide.   ctest -R browser.make_pages && POLEWRIGHT_PAGES=… POLEWRIGHT_CHROMIUM=… node load_bench.mjs
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
    const ms = await page.evaluate(() => new Promise((done) => requestAnimationFrame(() => setTimeout(() => done(performance.now())))));
    const cdp = await page.context().newCDPSession(page);
    await cdp.send("Performance.enable");
    const metrics = (await cdp.send("Performance.getMetrics")).metrics;
    times.push({ ms, cpu: 1000 * metrics.find((m) => m.name === "ProcessTime").value });
    await page.context().close();
  }
  return times;
}
const middle = (times, key) => times.map((t) => t[key]).sort((x, y) => x - y)[(RUNS - 1) / 2];
const a = await opened(page500), b = await opened(bare);
for (const key of ["ms", "cpu"])
  console.log(`${key === "ms" ? "until shown" : "processor time"}: 500 frames ${middle(a, key).toFixed(0)} ms, bare page of the same data ${middle(b, key).toFixed(0)} ms, ratio ${(middle(a, key) / middle(b, key)).toFixed(1)}`);
await browser.close();
