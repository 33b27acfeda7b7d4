// Opens the work sheet as somebody without a mouse does: every control is reached with the Tab key and shows that it is, a tilt
// is tried, kept and read, a point is read and a mark set by keys alone, the page holds on a narrow window, and axe-core
// finds nothing serious in any of these states. Usage: node tests/browser/sheet.mjs DIR PROGRAM CASE.toml   (CHROME names the browser)
import { spawn } from "node:child_process";
import { readFileSync, mkdirSync } from "node:fs";
import { createRequire } from "node:module";
import puppeteer from "puppeteer-core";

const [out, program, file] = process.argv.slice(2);
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
mkdirSync(out, { recursive: true });
const failures = [];
const check = (name, fine, says) => { if (!fine) { failures.push(name); console.log(`FAIL ${name}: ${says}`); } };

const served = spawn(program, ["serve", file, "--format", "json"], { stdio: ["ignore", "pipe", "inherit"] });
const line = await new Promise((done, failed) => {
  let text = "";
  served.stdout.on("data", (part) => { text += part; if (text.includes("\n")) { done(text.split("\n")[0]); } });
  served.on("exit", (code) => failed(new Error(`the program ended with ${code}`)));
});
const browser = await puppeteer.launch({ executablePath: process.env.CHROME || "/usr/bin/chromium", headless: true, protocolTimeout: 240000,
  args: ["--no-sandbox", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-sync", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"] });
const page = await browser.newPage();
page.on("console", (m) => check("console", false, `${m.type()}: ${m.text().slice(0, 200)}`));
page.on("pageerror", (e) => check("script", false, e.message));
await page.setViewport({ width: 1280, height: 900 });
await page.goto(JSON.parse(line).address, { waitUntil: "load" });
const until = (test) => page.waitForFunction(test, { timeout: 120000 });
await until("document.body.dataset.edition && document.body.dataset.busy === 'no' && document.getElementById('cast').dataset.tilts");

async function judged(name) {
  await page.evaluate(axe);
  const found = await page.evaluate(() => axe.run(document, { resultTypes: ["violations"] }));
  console.log(`${name}: ${found.violations.length} kinds of remark of axe-core`);
  for (const v of found.violations) {
    const says = `axe ${v.id} (${v.impact}): ${v.help}; ${v.nodes.slice(0, 2).map((n) => n.html.slice(0, 120)).join(" | ")}`;
    if (["serious", "critical"].includes(v.impact)) { check(name, false, says); } else { console.log(`${name}: ${says}`); }
  }
  await page.screenshot({ path: `${out}/sheet-${name.replaceAll(" ", "-")}.png` });
}

// Every control that can be used is reached by the Tab key, in the order of the page, and shows it.
async function walked() {
  const wanted = await page.evaluate(() => {
    const all = [...document.querySelectorAll("a[href], button, input, select, summary, [tabindex='0']")];
    const usable = all.filter((e) => !e.disabled && e.getClientRects().length > 0);
    usable.forEach((e, n) => { e.dataset.walk = n; });
    document.activeElement.blur();
    return usable.length;
  });
  const reached = new Set(), unseen = [];
  for (let n = 0; n < wanted + 30; n += 1) {
    await page.keyboard.press("Tab");
    const at = await page.evaluate(() => {
      const e = document.activeElement, style = getComputedStyle(e);
      const shown = style.outlineStyle !== "none" && Number.parseFloat(style.outlineWidth) > 0;
      return { walk: e.dataset.walk, what: e.id || e.textContent.slice(0, 40), shown };
    });
    if (at.walk !== undefined && !reached.has(at.walk) && !at.shown) { unseen.push(at.what); }
    if (at.walk !== undefined) { reached.add(at.walk); }
  }
  const missed = await page.evaluate((all) => [...document.querySelectorAll("[data-walk]")].filter((e) => !all.includes(e.dataset.walk)).map((e) => e.id || e.outerHTML.slice(0, 60)), [...reached]);
  check("Tab key", missed.length === 0, `not reached: ${missed.join(", ")}`);
  check("focus", unseen.length === 0, `not shown: ${unseen.join(", ")}`);
  console.log(`Tab key: ${reached.size} of ${wanted} controls`);
}

await judged("opened");
await walked();
const text = (id) => page.evaluate((i) => document.getElementById(i).textContent, id);
const before = await text("table");
await page.focus("#anterior");
for (let n = 0; n < 8; n += 1) { await page.keyboard.press("ArrowRight"); }
await until("document.getElementById('tilt-words').textContent.includes('4.0° toward anterior')");
check("tilt", (await text("table")) !== before, "the table stays as it was");
await page.focus("#keep");
await page.keyboard.press("Enter");
await page.focus("#found");
await page.keyboard.press("Enter");
await until("document.querySelectorAll('#compared-table tbody tr').length >= 8");
// The cross is walked from the middle of the picture to the label of a tooth.
const [across, down] = await page.evaluate(() => {
  const label = [...document.querySelectorAll("#labels span")].find((e) => e.textContent === "35").getBoundingClientRect();
  const box = document.getElementById("cast").getBoundingClientRect();
  return [label.x + label.width / 2 - box.x - box.width / 2, label.y + label.height / 2 - box.y - box.height / 2];
});
await page.focus("#cast");
await page.keyboard.down("Control");
for (const [far, keys] of [[across, ["ArrowLeft", "ArrowRight"]], [down, ["ArrowUp", "ArrowDown"]]]) {
  for (let n = 0; n < Math.round(Math.abs(far) / 6); n += 1) { await page.keyboard.press(keys[far > 0 ? 1 : 0]); }
}
await page.keyboard.up("Control");
await page.keyboard.press("Enter");
await until("document.getElementById('point-out').textContent.includes('35')");
await page.focus("#mark-what");
await page.keyboard.type("the place of the");
await until("!document.getElementById('along-box').hidden");
await page.focus("#along");
for (let n = 0; n < 3; n += 1) { await page.keyboard.press("ArrowRight"); }
await page.focus("#mark-set");
await page.keyboard.press("Enter");
await until("document.getElementById('mark-list').textContent.includes('place of attachment 1') && document.body.dataset.busy === 'no' && document.getElementById('changes-why').textContent.includes('attachment')");
await page.focus("#show-opposing");
await page.keyboard.press("Space");
await new Promise((done) => setTimeout(done, 1500));
await page.evaluate(() => document.querySelectorAll("details").forEach((d) => { d.open = true; }));
await judged("marked");
await page.keyboard.down("Control");
await page.keyboard.press("z");
await page.keyboard.up("Control");
await until("!document.getElementById('mark-list').textContent.includes('attachment')");
await page.setViewport({ width: 390, height: 800 });
await new Promise((done) => setTimeout(done, 500));
const wide = await page.evaluate(() => document.documentElement.scrollWidth);
check("narrow", wide <= 390, `on a narrow window the page is ${wide} wide`);
await judged("narrow");
await browser.close();
const code = await new Promise((done) => { served.on("exit", done); served.kill("SIGINT"); });
check("end", code === 0, `the program ended with ${code}`);
console.log(failures.length === 0 ? "sheet check: fine" : `sheet check: ${failures.length} failures`);
process.exit(failures.length === 0 ? 0 : 1);
