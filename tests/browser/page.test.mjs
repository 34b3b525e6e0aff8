// The pages as a reader meets them: opened from a file, in Chromium, by mouse, keyboard and screen reader.
// What counts as right: the JSON beside each page; WCAG 2.1 A and AA as axe-core checks them; the page's own content policy.
import assert from "node:assert/strict";
import fs from "node:fs";
import path from "node:path";
import { createRequire } from "node:module";
import { after, before, test } from "node:test";
import { chromium } from "playwright-core";

const PAGES = process.env.POLEWRIGHT_PAGES;
const AXE = fs.readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const NAMES = ["align", "south", "unsolved", "inspect", "hostile", "night"];
const address = (name) => `file://${path.join(PAGES, name)}.html`;
const json = (name) => JSON.parse(fs.readFileSync(path.join(PAGES, `${name}.json`), "utf8"));

let browser;
before(async () => {
  // Chromium's own sandbox refuses to run as root, as in a container; the pages are ours.
  browser = await chromium.launch({ executablePath: process.env.POLEWRIGHT_CHROMIUM, args: process.getuid() === 0 ? ["--no-sandbox"] : [] });
});
after(async () => { await browser?.close(); });

/** Opens a page and collects everything that must not happen. */
async function open(name, options = {}) {
  const context = options.context ?? await browser.newContext({ viewport: { width: 1200, height: 900 }, acceptDownloads: true, ...options });
  const page = await context.newPage();
  page.complaints = [];
  page.on("console", (m) => page.complaints.push(`console ${m.type()}: ${m.text()}`));
  page.on("pageerror", (e) => page.complaints.push(`error: ${e.message}`));
  page.on("request", (r) => { if (r.url() !== address(name) && !r.url().startsWith("data:")) page.complaints.push(`request: ${r.url()}`); });
  await page.goto(address(name));
  assert.deepEqual(page.complaints.filter((c) => c.startsWith("error")), []);
  await page.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))));
  return page;
}
const close = (page) => page.context().close();

/** Serious findings of axe-core, and how many texts it could judge the contrast of. */
async function axe(page) {
  await page.evaluate(AXE);
  return page.evaluate(async () => {
    const result = await window.axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"] });
    const bad = result.violations.filter((v) => ["serious", "critical"].includes(v.impact));
    return { bad: bad.map((v) => `${v.id}: ${v.nodes.slice(0, 3).map((n) => n.html.slice(0, 120)).join(" | ")}`),
      contrasts: result.passes.find((p) => p.id === "color-contrast")?.nodes.length ?? 0 };
  });
}

for (const name of NAMES)
  test(`${name}: quiet, accessible in both palettes, and no wider than a phone`, async () => {
    const page = await open(name);
    for (const palette of ["day", "night"]) {
      const found = await axe(page);
      assert.deepEqual(found.bad, [], palette);
      assert.ok(found.contrasts > 15, `axe-core judged ${found.contrasts} contrasts (${palette})`);
      await page.click("#palette");
    }
    await page.setViewportSize({ width: 360, height: 740 });
    await page.waitForTimeout(60);
    assert.ok(await page.evaluate(() => document.documentElement.scrollWidth) <= 360, "scrolls sideways");
    assert.deepEqual(page.complaints, []);
    await close(page);
  });

test("the content policy forbids scripts that were added afterwards", async () => {
  const page = await open("align");
  await page.evaluate(() => { const s = document.createElement("script"); s.textContent = "document.title = 'added'"; document.body.append(s); });
  assert.notEqual(await page.title(), "added");
  assert.equal(page.complaints.length, 1);
  assert.match(page.complaints[0], /Content Security Policy/);
  await close(page);
});

/** The number a wording says, in the unit it says it in, and half of its last digit. */
function said(text) {
  const t = text.replace(/−/g, "-").replace(/ ± .*/, "").trim();
  let m;
  if ((m = t.match(/^(\d+)°(\d+)′$/))) return { value: 60 * m[1] + Number(m[2]), half: 0.5 };
  if ((m = t.match(/^(\d+) h (\d+) min$/))) return { value: 3600 * m[1] + 60 * m[2], half: 60 };  // whole minutes, cut
  if ((m = t.match(/^(\d+) min(?: (\d+) s)?$/))) return { value: 60 * m[1] + Number(m[2] ?? 0), half: m[2] ? 0.5 : 60 };
  m = t.match(/^[+-]?\d+(?:\.(\d+))?/);
  assert.ok(m, `a figure that starts with a number: '${text}'`);
  return { value: Number(m[0]), half: 0.5 * 10 ** -(m[1] ?? "").length };
}

for (const name of ["align", "south", "inspect", "night"])
  test(`${name}: the figures shown are those of the JSON`, async () => {
    const page = await open(name), result = json(name);
    const shown = await page.$$eval("data[data-key]", (nodes) => nodes.map((n) => ({ key: n.dataset.key, value: n.value, text: n.textContent })));
    assert.ok(shown.length >= (name === "night" ? 8 : 15), `${shown.length} figures found`);
    for (const s of shown) {
      const truth = s.key.split(".").reduce((o, k) => o[k], result);
      assert.equal(s.value, String(truth), s.key);
      const { value, half } = said(s.text);
      const inDegrees = s.key.endsWith("arcmin") && /°$/.test(s.text);  // the large figures of the instruction
      const unit = inDegrees ? 1 / 60 : 1;
      const signless = !/[−+-]/.test(s.text) && truth < 0;  // worded by "lower", "left": the size alone
      const expected = unit * (signless ? -truth : truth);
      assert.ok(Math.abs(value - expected) <= half * (1 + 1e-9) + 1e-12, `${s.key}: shown '${s.text}', JSON ${truth}`);
    }
    assert.deepEqual(JSON.parse(await page.textContent("#result")), result);
    await close(page);
  });

test("the instruction stands first and names both moves, in each hemisphere", async () => {
  for (const [name, hand, pole] of [["align", "right", "north"], ["south", "left", "south"]]) {
    const page = await open(name);
    const first = await page.innerText("main section:first-of-type, main .lead section:first-of-type");
    assert.match(first, /Lower the axis 0\.30°/);
    assert.match(first, new RegExp(`Turn the base 0\\.6[01]° to the ${hand}`));
    assert.match(first, new RegExp(`facing the pole \\(${pole}\\)`));
    const drawing = await page.innerText("#axis .drawing");
    assert.match(drawing, pole === "north" ? /left, west[^]*right, east/ : /left, east[^]*right, west/);
    assert.match(await page.innerText("#verdict"), /Not good enough for 5 min|Not good enough for 300 s/);
    await close(page);
  }
});

test("the axis is drawn on the side it is, and the moves lead to the pole", async () => {
  // sample: axis 18.2′ high and 24.9′ west on the sky; west is left facing north and right facing south
  for (const [name, sign] of [["align", -1], ["south", 1]]) {
    const page = await open(name);
    const box = async (selector) => {
      const b = await page.locator(`#axis ${selector}`).first().boundingBox();
      return [b.x + b.width / 2, b.y + b.height / 2];
    };
    const [ax, ay] = await box(".axis-dot"), [px, py] = await box(".pole");
    assert.ok(sign * (ax - px) > 20, `${name}: axis at ${ax}, pole at ${px}`);
    assert.ok(ay < py - 20);
    assert.ok(Math.abs(Math.abs(ax - px) / (py - ay) - 24.9 / 18.2) < 0.03, "one scale for both directions");
    await close(page);
  }
});

test("an unsolved result says what to shoot instead and shows no axis", async () => {
  const page = await open("unsolved");
  assert.match(await page.innerText("#answer"), /Too few stars[^]*wait for the cloud to pass/);
  assert.ok(await page.isHidden("#axis"));
  await close(page);
});

test("the palette is switched by keyboard, remembered, and red only", async () => {
  const context = await browser.newContext({ viewport: { width: 1200, height: 900 } });
  let page = await open("align", { context });
  assert.equal(await page.getAttribute("html", "data-palette"), "day");
  await page.focus("#palette");
  await page.keyboard.press("Enter");
  assert.equal(await page.getAttribute("#palette", "aria-pressed"), "true");
  await page.close();
  page = await open("night", { context });
  assert.equal(await page.getAttribute("html", "data-palette"), "night");
  // no green and no blue anywhere, pictures and the browser's own controls included (8 of 255: rounding in the compositor)
  await page.setViewportSize({ width: 1200, height: await page.evaluate(() => document.documentElement.scrollHeight) });
  const png = (await page.screenshot()).toString("base64");
  const worst = await page.evaluate(async (data) => {
    const img = new Image();
    img.src = `data:image/png;base64,${data}`;
    await img.decode();
    const canvas = new OffscreenCanvas(img.width, img.height), ctx = canvas.getContext("2d");
    ctx.drawImage(img, 0, 0);
    const px = ctx.getImageData(0, 0, img.width, img.height).data;
    let green = 0, blue = 0;
    for (let i = 0; i < px.length; i += 4) { green = Math.max(green, px[i + 1]); blue = Math.max(blue, px[i + 2]); }
    return [green, blue];
  }, png);
  assert.ok(worst[0] <= 8 && worst[1] <= 8, `greenest ${worst[0]}, bluest ${worst[1]}`);
  await context.close();
});

test("hostile names stay text", async () => {
  const page = await open("hostile");
  assert.equal(await page.title(), "polewright: what to turn");
  assert.equal(await page.locator("img[src='x'], b").count(), 0);
  assert.equal(await page.locator("script").count(), 4);
  assert.deepEqual(JSON.parse(await page.textContent("#result")), json("hostile"));
  assert.match(await page.innerText("#frame .how"), /<\/script><img src=x/);
  assert.match(await page.textContent("#basis"), /@RESULT@ @EVIDENCE@ @PLAIN@/);
  await page.locator("#everything summary").first().click();
  assert.match(await page.innerText("#plain"), /<\/script>/);
  await close(page);
});

test("the picture is there and its layers can be switched", async () => {
  const page = await open("align");
  assert.deepEqual(await page.$eval("#frame img", (i) => [i.complete, i.naturalWidth, i.naturalHeight]), [true, 750, 500]);
  assert.ok(await page.locator(".layer-motion .head").first().isVisible());
  await page.getByLabel("motion of the stars").uncheck();
  assert.ok(await page.locator(".layer-motion .head").first().isHidden());
  assert.match(await page.innerText("#frame figcaption"), /in 5 min|in 300 s/);
  await close(page);
});

test("timeline: a click chooses the frame under it and shows its crops", async () => {
  const page = await open("night"), frames = json("night").frames;
  const plot = page.locator("#night .plot").first();
  await plot.scrollIntoViewIfNeeded();
  const box = await plot.boundingBox();
  await page.mouse.click(box.x + box.width * 0.999 - 4, box.y + box.height / 2);
  assert.match(await page.innerText("#chosen"), new RegExp(frames.at(-1).file.split("/").at(-1)));
  assert.equal(await page.locator("#chosen .crop").count(), 5);
  const shown = await page.locator("#chosen .crop").evaluateAll((nodes) => nodes.map((n) => [n.clientWidth, getComputedStyle(n).backgroundImage.startsWith("url(\"data:image/jpeg")]));
  assert.deepEqual(shown, Array(5).fill([96, true]));
  const before = await page.innerText("#chosen");
  await page.mouse.click(box.x + box.width / 2, box.y + box.height / 2);
  assert.notEqual(await page.innerText("#chosen"), before);
  await close(page);
});

test("timeline: slider, buttons and list choose too, by keyboard alone", async () => {
  const page = await open("night"), frames = json("night").frames;
  await page.focus("#night input[type=range]");
  await page.keyboard.press("Home");
  assert.match(await page.innerText("#chosen"), /1000/);
  await page.keyboard.press("ArrowRight");
  assert.match(await page.innerText("#chosen"), /1001/);
  await page.getByRole("button", { name: "Next trailed" }).press("Enter");
  const worst = frames.findIndex((f) => f.verdict === "trailed");
  assert.match(await page.innerText("#chosen"), new RegExp(`${1000 + worst}`));
  await page.locator("#list tbody .link").nth(7).press("Enter");
  assert.match(await page.innerText("#chosen"), /1007/);
  assert.equal(await page.locator("#list tr[aria-current=true]").count(), 1);
  await close(page);
});

test("list: headings sort both ways, unknown last; filters narrow; the list is exported as shown", async () => {
  const page = await open("night"), frames = json("night").frames;
  const trails = () => page.$$eval("#list tbody tr:not([hidden]) td:nth-child(4)", (c) => c.map((n) => parseFloat(n.textContent)));
  const sort = page.getByRole("button", { name: "Trail px" });
  await sort.click();
  let t = await trails();
  assert.ok(Number.isNaN(t.at(-1)) && t.slice(0, -1).every((v, i) => i === 0 || v >= t[i - 1]));
  assert.equal(await page.getAttribute("#list th:nth-child(4)", "aria-sort"), "ascending");
  await sort.click();
  t = await trails();
  assert.ok(Number.isNaN(t.at(-1)) && t.slice(0, -1).every((v, i) => i === 0 || v <= t[i - 1]));
  for (const v of ["sharp", "soft", "unusable"]) await page.uncheck(`input[data-verdict=${v}]`);
  assert.equal((await trails()).length, frames.filter((f) => f.verdict === "trailed").length);
  await page.selectOption("#list select", "slip");
  const [download] = await Promise.all([page.waitForEvent("download"), page.click("#save-list")]);
  assert.equal(fs.readFileSync(await download.path(), "utf8"), frames.filter((f) => f.cause === "slip").map((f) => `${f.file}\n`).join(""));
  await page.selectOption("#list select", "");
  for (const v of ["sharp", "soft", "unusable"]) await page.check(`input[data-verdict=${v}]`);
  const [all] = await Promise.all([page.waitForEvent("download"), page.click("#save-list")]);
  assert.equal(fs.readFileSync(await all.path(), "utf8").split("\n").length - 1, frames.length - 1);
  assert.match(await page.innerText("#list"), /1 left out because the name holds a line break/);
  await page.fill("#list input[type=search]", "1012");
  assert.match(await page.innerText("#list output"), /^1 of 40 frames/);
  await close(page);
});

test("the JSON that is saved is the JSON of the command", async () => {
  const page = await open("align");
  const [download] = await Promise.all([page.waitForEvent("download"), page.click("#save-json")]);
  assert.equal(download.suggestedFilename(), "polewright-align.json");
  assert.deepEqual(JSON.parse(fs.readFileSync(await download.path(), "utf8")), json("align"));
  await close(page);
});

test("prints to PDF, black on white from either palette", async () => {
  const page = await open("align");
  await page.click("#palette");
  await page.emulateMedia({ media: "print" });
  assert.equal(await page.evaluate(() => getComputedStyle(document.documentElement).backgroundColor), "rgb(255, 255, 255)");
  assert.ok(await page.isHidden("#palette"));
  const pdf = await page.pdf({ format: "A4" });
  assert.equal(pdf.subarray(0, 5).toString(), "%PDF-");
  assert.ok(pdf.length > 20000, `${pdf.length} bytes`);
  await close(page);
});

test("500 frames: below 8 MB, and all there", async () => {
  const size = fs.statSync(path.join(PAGES, "long_night.html")).size;
  assert.ok(size < 8e6, `${size} bytes`);
  const page = await open("long_night");
  assert.equal(await page.locator("#list tbody tr").count(), 500);
  await close(page);
});
