// Opens a page as a reader does: the cast is drawn and can be read by pointing at it, layers and views answer to keys, the
// page holds on a telephone, prints on at most four sheets of A4 and of Letter, says the same without WebGL, and axe-core
// finds nothing serious. Usage: node tests/browser/page.mjs DIR REPORT.html...   (CHROME names the browser)
import { readFileSync, writeFileSync, mkdirSync, statSync } from "node:fs";
import { createRequire } from "node:module";
import { basename, dirname, resolve } from "node:path";
import { pathToFileURL } from "node:url";
import puppeteer from "puppeteer-core";

const [out, ...pages] = process.argv.slice(2);
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
mkdirSync(out, { recursive: true });
const common = ["--no-sandbox", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-sync"];
const drawn = ["--use-angle=swiftshader", "--enable-unsafe-swiftshader"];
const failures = [];
const check = (name, fine, says) => { if (!fine) { failures.push(`${name}: ${says}`); console.log(`FAIL ${name}: ${says}`); } };

const launch = (more) => puppeteer.launch({ executablePath: process.env.CHROME || "/usr/bin/chromium", headless: true,
  args: [...common, ...more], protocolTimeout: 240000 });

async function open(browser, file, width, name) {
  const page = await browser.newPage();
  const remote = [];
  page.on("console", (m) => check(name, false, `console ${m.type()}: ${m.text().slice(0, 200)}`));
  page.on("pageerror", (e) => check(name, false, `script error: ${e.message}`));
  page.on("request", (r) => { if (!/^(file|data|blob):/.test(r.url())) { remote.push(r.url()); } });
  await page.setViewport({ width, height: 900 });
  await page.goto(pathToFileURL(resolve(file)).href, { waitUntil: "load", timeout: 120000 });
  check(name, remote.length === 0, `asks for ${remote.join(", ")}`);
  return page;
}

// Colours that differ in a picture of an element, sampled in the page itself.
async function colours(page, png) {
  return page.evaluate(async (data) => {
    const image = new Image();
    image.src = data;
    await image.decode();
    const canvas = document.createElement("canvas");
    canvas.width = image.width; canvas.height = image.height;
    const pen = canvas.getContext("2d", { willReadFrequently: true });
    pen.drawImage(image, 0, 0);
    const seen = new Set(), all = pen.getImageData(0, 0, image.width, image.height).data;
    for (let i = 0; i < all.length; i += 4 * 97) { seen.add((all[i] >> 3) * 1024 + (all[i + 1] >> 3) * 32 + (all[i + 2] >> 3)); }
    return seen.size;
  }, `data:image/png;base64,${png}`);
}

async function space(page, name) {
  if (!(await page.$("#space"))) { console.log(`${name}: no turning view`); return; }
  await page.waitForSelector("#space-view[data-drawn]", { timeout: 120000 });
  const box = await page.$("#space-view");
  await box.scrollIntoView();
  await new Promise((done) => setTimeout(done, 1500));
  const png = await box.screenshot({ encoding: "base64" });
  writeFileSync(`${out}/${name}-space.png`, Buffer.from(png, "base64"));
  const count = await colours(page, png);
  check(name, count > 60, `the canvas shows only ${count} colours`);
  const frame = await box.boundingBox();
  let text = "";
  for (const [u, v] of [[0.45, 0.55], [0.35, 0.5], [0.5, 0.62], [0.3, 0.45], [0.55, 0.5], [0.4, 0.6], [0.45, 0.4], [0.25, 0.4], [0.6, 0.6]]) {
    await page.mouse.move(frame.x + frame.width * u - 6, frame.y + frame.height * v);
    await page.mouse.move(frame.x + frame.width * u, frame.y + frame.height * v, { steps: 4 });
    await new Promise((done) => setTimeout(done, 700));
    text = await page.evaluate(() => [...document.querySelectorAll("#space-view .hovertext")].map((e) => e.textContent).join(" "));
    if (text) { break; }
  }
  check(name, /undercut|Unterschnitt/.test(text) && /mm/.test(text), `nothing is read by pointing: '${text}'`);
  console.log(`${name}: read by pointing: ${text}`);
  const button = await page.$("button[data-view=occlusal]");
  await button.focus();
  await page.keyboard.press("Enter");
  await new Promise((done) => setTimeout(done, 900));
  const turned = await box.screenshot({ encoding: "base64" });
  check(name, turned !== png, "a view chosen by a key changes nothing");
  const opposing = await page.$("input[value=opposing_arch]");
  if (opposing) {
    await opposing.focus();
    await page.keyboard.press("Space");
    await new Promise((done) => setTimeout(done, 900));
    check(name, (await box.screenshot({ encoding: "base64" })) !== turned, "the opposing arch does not appear");
  }
}

async function pages_printed(page, format) {
  const pdf = Buffer.from(await page.pdf({ format, preferCSSPageSize: false, printBackground: true, timeout: 120000 }));
  return [pdf, (pdf.toString("latin1").match(/\/Type\s*\/Page[^s]/g) || []).length];
}

for (const file of pages) {
  const name = `${basename(dirname(resolve(file)))}`;
  const size = statSync(file).size;
  check(name, size < 8e6, `the page holds ${size} bytes`);
  const browser = await launch(drawn);
  const page = await open(browser, file, 1280, name);
  await space(page, name);
  await page.evaluate(axe);
  await page.evaluate(() => document.querySelectorAll("details").forEach((d) => { d.open = true; }));
  const found = await page.evaluate(() => axe.run(document, { resultTypes: ["violations"] }));
  for (const v of found.violations) {
    const grave = ["serious", "critical"].includes(v.impact);
    const says = `axe ${v.id} (${v.impact}): ${v.help}; ${v.nodes.slice(0, 2).map((n) => n.html.slice(0, 120)).join(" | ")}`;
    if (grave) { check(name, false, says); } else { console.log(`${name}: ${says}`); }
  }
  await page.evaluate(() => document.querySelectorAll("details").forEach((d) => { d.open = false; }));
  for (const format of ["A4", "Letter"]) {
    const [pdf, count] = await pages_printed(page, format);
    writeFileSync(`${out}/${name}-${format}.pdf`, pdf);
    check(name, count > 0 && count <= 4, `${count} pages of ${format}`);
    console.log(`${name}: ${count} pages of ${format}`);
  }
  await page.evaluate(() => window.scrollTo(0, 0));
  await page.screenshot({ path: `${out}/${name}-desk.png` });
  await page.close();
  const phone = await open(browser, file, 390, name);
  const wide = await phone.evaluate(() => document.documentElement.scrollWidth);
  check(name, wide <= 390, `on a telephone the page is ${wide} wide`);
  await phone.screenshot({ path: `${out}/${name}-phone.png`, clip: { x: 0, y: 0, width: 390, height: 3000 } });
  await browser.close();
  const flat = await launch(["--disable-gpu", "--disable-3d-apis"]);
  const plain = await open(flat, file, 1280, `${name} without WebGL`);
  const told = await plain.evaluate(() => !document.querySelector("#space") || document.querySelector("#space").classList.contains("flat"));
  check(name, told, "without WebGL nothing is said");
  check(name, (await plain.$$eval("#stills img", (all) => all.length)) > 0 || !(await plain.$("#space")), "without WebGL no still stands in");
  await flat.close();
}
console.log(failures.length === 0 ? `page check: fine, ${pages.length} pages` : `page check: ${failures.length} failures`);
process.exit(failures.length === 0 ? 0 : 1);
