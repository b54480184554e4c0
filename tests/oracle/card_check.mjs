// Looks at the card's pages as a photographer would: from a file, with the network off, on a phone
// 360 pixels wide and on paper. Every time is worked out here once more from the profiles' stops
// and the published rule; nothing of the program's own arithmetic is asked.
//
//   node card_check.mjs PROGRAM KIT_FOLDER OUT_FOLDER
//
// Needs Chromium, and pdftoppm to measure the printed line.

import { execFileSync } from "node:child_process";
import { mkdirSync, readFileSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const [program, kitFolder, out] = process.argv.slice(2);
if (!program || !kitFolder || !out) throw new Error("usage: card_check.mjs PROGRAM KIT OUT");

const faults = [];
let compared = 0;
const expect = (truth, text) => { if (!truth) faults.push(text); };

// Dial markings in thirds (ISO 516) from 30 s down; powers of two behind them.
const DIAL = ["30", "25", "20", "15", "13", "10", "8", "6", "5", "4", "3.2", "2.5", "2", "1.6", "1.3",
  "1", "0.8", "0.6", "0.5", "0.4", "0.3", "1/4", "1/5", "1/6", "1/8", "1/10", "1/13", "1/15", "1/20",
  "1/25", "1/30", "1/40", "1/50", "1/60", "1/80", "1/100", "1/125", "1/160", "1/200", "1/250", "1/320",
  "1/400", "1/500", "1/640", "1/800", "1/1000"];
const trueTime = (dial) => 2 ** ((15 - DIAL.indexOf(dial)) / 3);
const ROWS = ["1/500", "1/250", "1/125", "1/60", "1/30", "1/15", "1/8", "1/4", "0.5", "1", "2", "4", "8"];

// The rule on the card: the dial up to 30 s, then seconds, from a minute minutes and seconds,
// to 5 s above 4 min and to 30 s above 15 min, a dash above 30 min.
function shown(seconds) {
  if (seconds > 1800) return "\u2013";
  if (seconds <= 32.5) return `${DIAL[15 - Math.round(3 * Math.log2(seconds))]} s`;
  const step = seconds > 900 ? 30 : seconds > 240 ? 5 : 1;
  const whole = Math.round(seconds / step) * step;
  if (whole < 60) return `${whole} s`;
  const rest = whole % 60;
  return rest ? `${Math.floor(whole / 60)} min ${rest} s` : `${whole / 60} min`;
}

function expectedColumns(folder) {
  const profiles = readdirSync(folder).sort().map((name) =>
    JSON.parse(readFileSync(path.join(folder, name, "profile.json"), "utf8")));
  const columns = [];
  for (const { filter, settings, usable } of profiles) {
    if (filter.kind === "solid") columns.push({ name: filter.name, stops: settings[0].strength.stops, solid: true });
    if (filter.kind === "variable") {
      const limit = usable ? usable.last_stops ?? -1 : Infinity;
      for (const s of settings) {
        if (s.strength.stops <= limit) columns.push({ name: filter.name, mark: s.mark, stops: s.strength.stops });
      }
    }
  }
  const single = [...columns];
  const solid = columns.filter((c) => c.solid);
  solid.forEach((a, i) => solid.slice(i + 1).forEach((b) => {
    const stops = a.stops + b.stops;
    const isNew = single.every((c) => Math.abs(c.stops - stops) > 1 / 3);
    if (isNew && trueTime("1/60") * 2 ** stops <= 1800) columns.push({ name: `${a.name} + ${b.name}`, stops });
  }));
  return columns;
}

const columns = expectedColumns(kitFolder);
rmSync(out, { recursive: true, force: true });
execFileSync(program, ["card", kitFolder, "--out", out]);

const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync"],
});
const context = await browser.newContext({ viewport: { width: 360, height: 740 }, offline: true });

async function open(file) {
  const page = await context.newPage();
  page.on("request", (r) => expect(r.url().startsWith("file:"), `${file} asks for ${r.url()}`));
  page.on("console", (m) => expect(m.type() !== "error", `${file}: ${m.text()}`));
  await page.goto(pathToFileURL(path.join(out, file)).href);
  return page;
}

async function times(page, file, list) {
  const found = await page.$$eval(".time[data-metered]", (cells) => cells.map((c) => ({
    metered: c.dataset.metered, column: Number(c.dataset.column), text: c.textContent,
  })));
  const seen = new Set();
  for (const { metered, column, text } of found) {
    const right = shown(trueTime(metered) * 2 ** list[column]?.stops);
    expect(text === right, `${file}: metered ${metered}, column ${column}: "${text}", expected "${right}"`);
    seen.add(`${metered} ${column}`);
    compared += 1;
  }
  expect(seen.size === ROWS.length * list.length,
    `${file}: ${seen.size} times, expected ${ROWS.length * list.length}`);
}

async function still(page, file) {
  const count = await page.$$eval("input, button, select, textarea, script, video, canvas, a", (l) => l.length);
  expect(count === 0, `${file}: ${count} things that ask to be operated`);
}

const luminance = (rgb) => {
  const [r, g, b] = rgb.match(/[\d.]+/g).map((v) => v / 255)
    .map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4));
  return 0.2126 * r + 0.7152 * g + 0.0722 * b; // WCAG 2.2, relative luminance
};

// Black ink only, in print.
async function black(page, file) {
  const inks = await page.$$eval("body *", (all) => [...new Set(all.flatMap((e) => {
    const style = getComputedStyle(e);
    return e instanceof SVGElement ? [style.fill, style.stroke] : [style.color];
  }))]);
  const bad = inks.filter((ink) => ink !== "none" && ink !== "rgb(0, 0, 0)");
  expect(bad.length === 0, `${file}: inks ${bad.join(", ")}`);
}

{ // The phone.
  const file = "card.html";
  const page = await open(file);
  await times(page, file, columns);
  await still(page, file);
  const width = await page.evaluate(() => document.documentElement.scrollWidth);
  expect(width <= 360, `${file}: ${width} pixels wide on a phone of 360`);
  const cut = () => page.$$eval("td, th", (cells) =>
    cells.filter((c) => c.scrollWidth > c.clientWidth + 1).map((c) => c.textContent));
  expect((await cut()).length === 0, `${file}: cut off: ${(await cut()).join("; ")}`);
  // A small phone: nothing runs out, and no word of a heading is broken to make room.
  const size = page.viewportSize();
  await page.setViewportSize({ width: 320, height: 640 });
  const narrow = await page.evaluate(() => document.documentElement.scrollWidth);
  expect(narrow <= 320, `${file}: ${narrow} pixels wide on a phone of 320`);
  expect((await cut()).length === 0, `${file}: cut off at 320: ${(await cut()).join("; ")}`);
  const letters = await page.$$eval(".grid thead th", (heads) =>
    heads.filter((h) => getComputedStyle(h).overflowWrap !== "normal").map((h) => h.textContent));
  expect(letters.length === 0, `${file}: broken letter by letter: ${letters.join("; ")}`);
  await page.setViewportSize(size);
  for (const colorScheme of ["light", "dark"]) {
    await page.emulateMedia({ colorScheme });
    const [paper, ink] = await page.evaluate(() => [
      getComputedStyle(document.documentElement).backgroundColor,
      getComputedStyle(document.querySelector("td.time") ?? document.body).color]);
    const [lighter, darker] = [luminance(ink), luminance(paper)].sort((a, b) => b - a);
    const contrast = (lighter + 0.05) / (darker + 0.05);
    expect(contrast >= 7, `${file}, ${colorScheme}: contrast ${contrast.toFixed(1)}, WCAG 2.2 AAA asks for 7`);
    // At dusk a bright page blinds; in the sun a dark one cannot be read.
    const dark = luminance(paper) < 0.01 && luminance(ink) < 0.75;
    expect(colorScheme === "dark" ? dark : luminance(paper) > 0.8, `${file}: ${colorScheme} is not`);
  }
  const broken = await page.$$eval(".times thead th:first-child", (heads) =>
    heads.filter((h) => getComputedStyle(h).whiteSpace !== "nowrap" || h.scrollWidth > h.clientWidth + 1).length);
  expect(broken === 0, `${file}: "metered" is broken`);
  const [first, caution] = await page.$$eval("table.times, p.sea", (all) =>
    ["TABLE", "P"].map((tag) => all.findIndex((e) => e.tagName === tag)));
  expect(first === 0 && caution > 0, `${file}: the times do not stand first, or no caution follows`);
  const high = await page.$$eval("p.sea", (all) => all.map((p) =>
    Math.round(p.getBoundingClientRect().height / parseFloat(getComputedStyle(p).lineHeight))));
  expect(high.every((lines) => lines <= 2), `${file}: cautions of ${high} lines`);
  await page.screenshot({ path: path.join(out, "phone.png"), fullPage: true });
  await page.emulateMedia({ media: "print" });
  await black(page, file);
  await page.close();
}

// Longest level stroke of black pixels in a page picture, in millimetres.
function longestLine(pdf, dpi) {
  const stem = pdf.replace(/\.pdf$/, "-look");
  execFileSync("pdftoppm", ["-r", String(dpi), "-gray", "-f", "1", "-l", "1", "-singlefile", pdf, stem]);
  const bytes = readFileSync(`${stem}.pgm`);
  const head = bytes.subarray(0, 40).toString("latin1").match(/^P5\s+(\d+)\s+(\d+)\s+(\d+)\s/);
  const [width, height, start] = [Number(head[1]), Number(head[2]), head[0].length];
  const runs = [];
  for (let y = 0; y < height; y += 1) {
    for (let x = 0, from = -1; x <= width; x += 1) {
      const dark = x < width && bytes[start + y * width + x] < 128;
      if (dark && from < 0) from = x;
      if (!dark && from >= 0) { runs.push(((x - from) * 25.4) / dpi); from = -1; }
    }
  }
  return { runs, mm: [(width * 25.4) / dpi, (height * 25.4) / dpi] };
}

// Sizes in millimetres: ISO 216, and ANSI/ASME Y14.1 (8.5 by 11 inches).
const PAPERS = { A4: [210, 297], Letter: [215.9, 279.4] };
// As a printer's driver gives them.
const SAID = { A4: ["210mm", "297mm"], Letter: ["8.5in", "11in"] };

// A card as it comes out of a printer with either paper, if the page does not ask for one.
async function printed(file, list, papers) {
  const page = await open(file);
  await still(page, file);
  await times(page, file, list);
  await page.emulateMedia({ media: "print" });
  await black(page, file);
  const small = await page.$$eval(".time[data-metered]", (cells) => cells.map((c) => {
    const box = c.ownerSVGElement;
    const scale = box.getBoundingClientRect().width / box.viewBox.baseVal.width;
    const style = getComputedStyle(c);
    return { points: parseFloat(style.fontSize) * scale * 0.75, weight: style.fontWeight };
  }).filter((t) => t.points < 8.99 || Number(t.weight) < 700).length);
  expect(small === 0, `${file}: ${small} times under 9 pt bold`);
  // Text that the font would draw much wider than it was laid out would be squeezed.
  const squeezed = await page.$$eval("svg text", (texts) => texts.map((t) => {
    const laid = t.textLength.baseVal.value;
    t.removeAttribute("textLength");
    return { laid, drawn: t.getComputedTextLength(), text: t.textContent };
  }).filter((t) => Math.abs(t.drawn / t.laid - 1) > 0.02 && Math.abs(t.drawn - t.laid) > 0.1));
  expect(squeezed.length === 0, `${file}: ${JSON.stringify(squeezed.slice(0, 3))}`);
  await page.reload();
  const sheets = await page.$$eval(".sheet", (all) => all.length);
  for (const paper of papers) await onPaper(page, file, paper, sheets);
  await page.close();
}

async function onPaper(page, file, paper, sheets) {
  const pdf = path.join(out, file.replace(".html", `-on-${paper}.pdf`));
  const [width, height] = SAID[paper];
  writeFileSync(pdf, await page.pdf({ width, height, preferCSSPageSize: true, printBackground: true }));
  const info = execFileSync("pdfinfo", [pdf]).toString();
  const pages = Number(info.match(/^Pages:\s+(\d+)/m)[1]);
  expect(pages === sheets, `${file}: ${sheets} sheets on ${pages} pages of ${paper}`);
  const { runs, mm } = longestLine(pdf, 600);
  expect(mm.every((side, i) => Math.abs(side - PAPERS[paper][i]) < 0.3), `${file}: paper ${mm}`);
  const fifty = runs.filter((r) => Math.abs(r - 50) < 3);
  const best = fifty.sort((a, b) => Math.abs(a - 50) - Math.abs(b - 50))[0];
  // A pixel at either end.
  expect(best !== undefined && Math.abs(best - 50) < 2 * (25.4 / 600), `${file}: line ${best} mm`);
  // What is cut off the paper is no longer in its text: each word is there as often as it is on the cards.
  const text = execFileSync("pdftotext", ["-layout", pdf, "-"]).toString().replaceAll(/\s+/g, "");
  const written = await page.$$eval("svg text", (all) => all.flatMap((t) => t.textContent.split(/\s+/)));
  const often = (list, word) => list.filter((other) => other === word).length;
  const lost = [...new Set(written)].filter((word) => word && text.split(word).length - 1 < often(written, word));
  expect(lost.length === 0, `${file} on ${paper}: lost ${JSON.stringify(lost.slice(0, 3))}`);
  console.log(`${file} on ${paper}: 50 mm line measures ${best?.toFixed(2)} mm`);
}

await printed("card-a6.html", columns, ["A4"]);
await printed("card-a6-letter.html", columns, ["Letter"]);
for (const file of readdirSync(out).filter((f) => /^card-small-.*\.html$/.test(f))) {
  const name = file.replace(/^card-small-|\.html$/g, "");
  const own = columns.filter((c) => c.name.toLowerCase().replaceAll(" ", "-") === name);
  await printed(file, own, ["A4", "Letter"]);
}
await browser.close();
mkdirSync(out, { recursive: true });
expect(compared > 0, "no time was compared");
console.log(`${compared} times compared, ${faults.length} faults`);
for (const fault of faults.slice(0, 20)) console.error(fault);
process.exitCode = faults.length ? 1 : 0;
