// Looks at report and comparison pages as readers do: from a file, with the network off, on a
// phone, a screen and a wide screen, light, dark and printed. What the pages say is compared with
// the profile beside them; axe-core judges whether everybody can read them.
//
//   node page_check.mjs [--shots FOLDER] PAGE...
//
// Beside each report.html its profile.json is expected; comparisons have none and skip that part.

import { existsSync, mkdirSync, readFileSync } from "node:fs";
import { createRequire } from "node:module";
import path from "node:path";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const args = process.argv.slice(2);
const shots = args[0] === "--shots" ? args.splice(0, 2)[1] : null;
if (args.length === 0) throw new Error("usage: page_check.mjs [--shots FOLDER] PAGE...");
if (shots) mkdirSync(shots, { recursive: true });
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

const WIDTHS = [360, 390, 1280, 1920];
const SCHEMES = ["light", "dark"];
// Judging takes longest: each page in both layouts, one column and several, and in both schemes, one
// for each layout, the other way round on the next page.
const JUDGED = [360, 1280];
const isJudged = (file, width, scheme) =>
  JUDGED.includes(width) && (args.indexOf(file) + JUDGED.indexOf(width) + SCHEMES.indexOf(scheme)) % 2 === 0;
const AT_ONCE = 2;
const SMALLEST_TEXT = 10; // CSS pixels in a drawing, on any screen
const SMALLEST_PRINTED = 8; // the same on paper, where 8 CSS pixels are 6 points
const LEAST_CONTRAST = 4.5; // WCAG 2.2, success criterion 1.4.3
const faults = [];
let compared = 0;
let judged = 0;

// A printed figure agrees with a number when it differs by at most half its last place.
function agrees(text, number) {
  const clean = text.replace(/\u2212/g, "-").replace(/\u202f/g, "").trim();
  const places = (clean.split(".")[1] ?? "").length;
  compared += 1;
  return Math.abs(Number(clean) - number) <= 0.5 * 10 ** -places * (1 + 1e-9);
}

function headline(profile) {
  const stops = profile.settings.map((s) => s.strength.stops);
  const { kind } = profile.filter;
  if (kind === "variable" && stops.length > 1) return [Math.min(...stops), Math.max(...stops)];
  if (kind === "graduated" && profile.graduation) {
    const { dark_end_stops, dark_end_u95 } = profile.graduation;
    return dark_end_u95 ? [dark_end_stops, dark_end_u95] : [dark_end_stops];
  }
  const loss = kind === "polariser" ? profile.polarising?.loss_stops : null;
  const { stops: value, u95 } = loss ?? profile.settings[0].strength;
  return [value, u95];
}

// True time of a dial marking: the nearest third of a stop (common practice, no source).
function trueTime(dial) {
  const [a, b] = dial.replace(" s", "").split("/").map(Number);
  const seconds = b ? a / b : a;
  return 2 ** (Math.round(3 * Math.log2(seconds)) / 3);
}

async function compareNumbers(page, profile, name) {
  const text = await page.textContent("#measured");
  const found = text.split(/\s\u00b1\s| to /);
  const expected = headline(profile);
  if (found.length !== expected.length || !found.every((f, i) => agrees(f, expected[i]))) {
    faults.push(`${name}: the headline says ${text}, the profile ${expected.join(", ")}`);
  }
  const tables = await page.$$eval("table", (all) => all.map((t) => ({
    caption: t.caption.textContent,
    rows: [...t.tBodies[0].rows].map((r) => [...r.cells].map((c) => c.textContent)),
  })));
  const table = (start) => tables.find((t) => t.caption.startsWith(start));
  const marks = table("Marks, true stops");
  if (profile.settings.length > 1 && !marks) faults.push(`${name}: no table of marks`);
  marks?.rows.forEach(([mark, stops], i) => {
    const setting = profile.settings[i];
    if (mark.split(",")[0] !== setting.mark || !agrees(stops.split(/\s/)[0], setting.strength.stops)) {
      faults.push(`${name}: mark ${mark} says ${stops}, the profile ${setting.strength.stops}`);
    }
  });
  for (const [metered, , exact] of table("Metered without")?.rows ?? []) {
    const truth = trueTime(metered) * 2 ** profile.settings[0].strength.stops;
    compared += 1;
    const part = /^1\/(\d+) s$/.exec(exact);
    if (part) {
      if (Math.abs(Number(part[1]) - 1 / truth) > 0.501) faults.push(`${name}: ${metered} becomes ${exact}, not ${truth}`);
      continue;
    }
    const said = Number(exact.replace(" s", "").replace(/\u202f/g, ""));
    // Three figures are printed: half of the third is at most half a percent.
    if (Math.abs(said / truth - 1) > 0.00501) faults.push(`${name}: ${metered} becomes ${exact}, not ${truth}`);
  }
  const frames = profile.frames.map((f) => f.file).sort();
  const listed = ["Frames used", "Frames left out"].flatMap((c) => table(c)?.rows.map((r) => r[0]) ?? []).sort();
  compared += 1;
  if (JSON.stringify(frames) !== JSON.stringify(listed)) faults.push(`${name}: frames listed are not the profile's`);
  const title = await page.textContent("h1");
  if (title !== profile.filter.name) faults.push(`${name}: the title is ${title}`);
}

// Runs in the page: what overlaps, what is cut, what is too small.
function lookAtDrawings(smallest) {
  const found = [];
  for (const svg of document.querySelectorAll("svg.plot")) {
    const sheet = svg.getBoundingClientRect();
    if (sheet.width === 0) continue;
    const name = svg.querySelector("title")?.textContent ?? "";
    if (!name || !svg.querySelector("desc")?.textContent) found.push(`"${name}" does not say what it shows`);
    const texts = [...svg.querySelectorAll("text")].map((t) => {
      const box = t.getBoundingClientRect();
      const size = parseFloat(getComputedStyle(t).fontSize) * sheet.width / svg.viewBox.baseVal.width;
      // A line box is higher than its letters.
      const cut = (box.height - 0.72 * size) / 2;
      return { words: t.textContent.trim(), size, left: box.left, right: box.right, top: box.top + cut, bottom: box.bottom - cut };
    });
    texts.forEach((a, i) => {
      if (a.size < smallest) found.push(`"${name}": "${a.words}" is ${a.size.toFixed(1)} px high`);
      if (a.left < sheet.left - 2 || a.right > sheet.right + 2 || a.top < sheet.top - 2 || a.bottom > sheet.bottom + 2) {
        found.push(`"${name}": "${a.words}" stands outside`);
      }
      for (const b of texts.slice(i + 1)) {
        const over = Math.min(a.right, b.right) - Math.max(a.left, b.left);
        const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
        if (over > 0.5 && high > 0.5) found.push(`"${name}": "${a.words}" lies on "${b.words}"`);
      }
    });
  }
  return found;
}

function contrast(a, b) {
  const luminance = (hex) => {
    const [r, g, bl] = [1, 3, 5].map((i) => parseInt(hex.slice(i, i + 2), 16) / 255)
      .map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * bl;
  };
  const [x, y] = [luminance(a), luminance(b)].sort((p, q) => q - p);
  return (x + 0.05) / (y + 0.05);
}

async function checkInks(page, name) {
  const inks = await page.evaluate(() => {
    const style = getComputedStyle(document.documentElement);
    return Object.fromEntries(["ink", "soft", "measured", "claimed", "ground", "zone"]
      .map((n) => [n, style.getPropertyValue(`--${n}`).trim().replace(/^#(.)(.)(.)$/, "#$1$1$2$2$3$3")]));
  });
  for (const ink of ["ink", "soft", "measured", "claimed"]) for (const paper of ["ground", "zone"]) {
    const value = contrast(inks[ink], inks[paper]);
    judged += 1;
    if (!(value >= LEAST_CONTRAST)) faults.push(`${name}: ${ink} on ${paper} has contrast ${value.toFixed(2)}`);
  }
}

async function judge(page, name) {
  await page.evaluate(axe);
  const result = await page.evaluate(() => globalThis.axe.run(document, { resultTypes: ["violations"] }));
  judged += result.passes.length;
  for (const v of result.violations) {
    faults.push(`${name}: ${v.id}: ${v.help}: ${v.nodes.slice(0, 3).map((n) => n.html.slice(0, 120)).join(" | ")}`);
  }
}

async function look(browser, file, width, scheme, media) {
  const name = `${path.basename(path.dirname(file))} at ${width}, ${scheme}, ${media}`;
  const context = await browser.newContext({
    viewport: { width, height: 900 }, colorScheme: scheme, offline: true, bypassCSP: true,
  });
  const page = await context.newPage();
  const url = pathToFileURL(path.resolve(file)).href;
  page.on("console", (m) => { if (m.type() === "error" || m.type() === "warning") faults.push(`${name}: ${m.text()}`); });
  page.on("pageerror", (e) => faults.push(`${name}: ${e}`));
  page.on("dialog", (d) => { faults.push(`${name}: a dialog opened`); return d.dismiss(); });
  page.on("request", (r) => { if (r.url() !== url) faults.push(`${name}: asks for ${r.url()}`); });
  await page.emulateMedia({ media, colorScheme: scheme });
  await page.goto(url);
  const [scroll, client] = await page.evaluate(() => [document.documentElement.scrollWidth, document.documentElement.clientWidth]);
  if (scroll > client) faults.push(`${name}: ${scroll - client} px too wide`);
  const profile = path.join(path.dirname(file), "profile.json");
  if (existsSync(profile) && path.basename(file) === "report.html") {
    await compareNumbers(page, JSON.parse(readFileSync(profile, "utf8")), name);
  }
  if (shots) {
    const stem = `${path.basename(path.dirname(file))}-${path.basename(file, ".html")}-${width}-${scheme}-${media}`;
    await page.screenshot({ path: path.join(shots, `${stem}.png`), fullPage: true });
  }
  if (media === "print") {
    const hidden = await page.$$eval("details", (all) => all.filter((d) => d.lastElementChild.getBoundingClientRect().height === 0).length);
    if (hidden) faults.push(`${name}: ${hidden} folded parts are not printed`);
  } else {
    // Unfolded pages hold everything; folded ones are judged once.
    if (width === JUDGED[0] && scheme === SCHEMES[0]) await judge(page, name);
    await page.$$eval("details", (all) => all.forEach((d) => { d.open = true; }));
    if (isJudged(file, width, scheme)) await judge(page, `${name}, unfolded`);
    const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    if (wide > 0) faults.push(`${name}, unfolded: ${wide} px too wide`);
  }
  (await page.evaluate(lookAtDrawings, media === "print" ? SMALLEST_PRINTED : SMALLEST_TEXT)).forEach((f) => faults.push(`${name}: ${f}`));
  await checkInks(page, name);
  await context.close();
}

// Sides of A4 that a page may take: one for a sheet; maps and marks make a ring's report longer,
// and so do curves of sharpness.
function mostSides(file) {
  if (file.endsWith("-sheet.html")) return 1;
  const profile = path.join(path.dirname(file), "profile.json");
  if (path.basename(file) !== "report.html" || !existsSync(profile)) return Infinity;
  const { settings, frames, picture } = JSON.parse(readFileSync(profile, "utf8"));
  return (settings.length > 1 ? 6 : 4) + (picture ? 1 : 0) + Math.floor(frames.length / 60);
}

async function printed(browser, file) {
  const most = mostSides(file);
  if (most === Infinity) return;
  const context = await browser.newContext({ offline: true });
  const page = await context.newPage();
  await page.goto(pathToFileURL(path.resolve(file)).href);
  const pdf = await page.pdf({ format: "A4", preferCSSPageSize: true });
  const sides = pdf.toString("latin1").match(/\/Type\s*\/Page\b/g).length;
  if (sides > most) faults.push(`${path.basename(path.dirname(file))}: ${sides} sides printed, at most ${most}`);
  await context.close();
}

const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync"],
});
const looks = args.flatMap((file) => SCHEMES.flatMap((scheme) => [
  // Colours move nothing: dark pages are looked at where they may be judged.
  ...(scheme === SCHEMES[0] ? WIDTHS : JUDGED).map((width) => [file, width, scheme, "screen"]),
  // The text width of A4 with the page's own margins, in CSS pixels; dark must not reach paper.
  [file, 688, scheme, "print"],
]));
await Promise.all(Array.from({ length: AT_ONCE }, async () => {
  for (let next = looks.shift(); next; next = looks.shift()) await look(browser, ...next);
}));
for (const file of args) await printed(browser, file);
await browser.close();

[...new Set(faults)].forEach((f) => console.error(f));
console.log(`${args.length} pages, ${compared} figures compared, ${judged} rules passed, ${faults.length} faults`);
if (compared === 0 && args.some((f) => f.endsWith("report.html"))) throw new Error("nothing was compared");
process.exit(faults.length ? 1 : 0);
