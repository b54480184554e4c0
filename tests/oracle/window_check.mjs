// Does the whole job in the window as a person does: by mouse and by keys alone, on a screen and on a
// phone, light and dark. What stands on the screen is compared with the profile, what is written with
// the command line's; axe-core judges whether everybody can read it.
//
//   node window_check.mjs PROGRAM DEMO ROOM [--picture FILE]
//
// PROGRAM is lightloss, DEMO the demo's folder, ROOM a folder to work in that holds truth.json and a
// camera record. `--picture` draws the window for the README.

import { execFileSync, spawn } from "node:child_process";
import { cpSync, existsSync, mkdirSync, readdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import path from "node:path";
import { chromium } from "playwright-core";

const [program, demo, room, flag, drawing] = process.argv.slice(2);
if (!room || (flag && flag !== "--picture")) throw new Error("usage: window_check.mjs PROGRAM DEMO ROOM [--picture FILE]");
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const PATIENCE = 60_000;
const WAYS = [
  { hand: "mouse", width: 1280, scheme: "light" },
  { hand: "keys", width: 1280, scheme: "dark" },
  { hand: "mouse", width: 390, scheme: "dark" },
  { hand: "keys", width: 390, scheme: "light" },
];
// Of the demo's camera, in counts.
const BLACK = 512;
const WHITE = 16_000;
const faults = [];
let compared = 0;
let judged = 0;
let done = 0;

function expect(good, words) {
  compared += 1;
  if (!good) faults.push(words);
}

// Waits until something holds in the page. Its policy forbids the usual way, which evaluates text.
async function until(page, what, given) {
  for (const late = Date.now() + PATIENCE; ; ) {
    if (await page.evaluate(what, given)) return;
    if (Date.now() > late) throw new Error(`not seen in time: ${what}`);
    await page.waitForTimeout(25);
  }
}

// A printed figure agrees with a number when it differs by at most half its last place.
function agrees(text, number) {
  const clean = text.replace(/\u2212/g, "-").replace(/[\u202f\u00a0 %]/g, "");
  const places = (clean.split(".")[1] ?? "").length;
  return Math.abs(Number(clean) - number) <= 0.5 * 10 ** -places * (1 + 1e-9);
}

// --- frames that are spoilt on purpose ---

// Entries of the first directory of a little-endian TIFF file (TIFF 6.0): tag to value or offset.
function firstDirectory(bytes) {
  const at = bytes.readUInt32LE(4);
  const entries = new Map();
  for (let i = 0; i < bytes.readUInt16LE(at); i += 1) {
    const entry = at + 2 + 12 * i;
    entries.set(bytes.readUInt16LE(entry), bytes.readUInt32LE(entry + 8));
  }
  return entries;
}

// The demo's files hold one strip of 16-bit counts.
function dim(file, share) {
  const bytes = readFileSync(file);
  const directory = firstDirectory(bytes);
  const [width, start, length] = [directory.get(256), directory.get(273), directory.get(279)];
  for (let i = 0; i < length / 2; i += 1) {
    const place = start + 2 * i;
    const light = (bytes.readUInt16LE(place) - BLACK) * share((i % width) / width);
    bytes.writeUInt16LE(Math.max(0, Math.round(BLACK + light)), place);
  }
  writeFileSync(file, bytes);
}

function copied(name, to) {
  const folder = path.join(room, to, name);
  cpSync(path.join(demo, name), folder, { recursive: true });
  return folder;
}

const SPOILT = { clouded: "SKA_3102.dng", swapped: "SKA_3108.dng" };
// A cloud over one bare frame, and one bare frame through a filter that was forgotten.
function spoiltTen(to) {
  const folder = copied("harbour-ten", to);
  dim(path.join(folder, SPOILT.clouded), (x) => 0.86 - 0.1 * x);
  dim(path.join(folder, SPOILT.swapped), () => 0.25);
  return folder;
}

// --- a window and a hand ---

const kitOf = (to) => ({ ...process.env, LIGHTLOSS_KIT: path.join(room, to, "kit") });

async function begin(to) {
  const child = spawn(program, ["open", "--no-browser"], { cwd: room, env: kitOf(to) });
  let said = "";
  child.stderr.on("data", (text) => { said += text; });
  const link = await new Promise((found, lost) => {
    child.stdout.on("data", (text) => { const match = /http:\S+/.exec(String(text)); if (match) found(match[0]); });
    child.on("exit", () => lost(new Error(`the program ended: ${said}`)));
  });
  const ended = new Promise((end) => { child.on("exit", (status) => end(status)); });
  return { child, link, ended, said: () => said };
}

class Hand {
  constructor(page, way) {
    this.page = page;
    this.keys = way.hand === "keys";
    this.name = `${way.hand} at ${way.width}, ${way.scheme}`;
  }
  // Steps on with the tab key until the element has the focus.
  async tabTo(selector) {
    for (let i = 0; i < 400; i += 1) {
      if (await this.page.evaluate((s) => document.activeElement?.matches(s) ?? false, selector)) return;
      await this.page.keyboard.press("Tab");
    }
    throw new Error(`${this.name}: the keys do not reach ${selector}`);
  }
  async press(selector) {
    if (!this.keys) { await this.page.click(selector); return; }
    await this.tabTo(selector);
    await this.page.keyboard.press("Enter");
  }
  async write(selector, text) {
    if (this.keys) await this.tabTo(selector);
    else await this.page.click(selector);
    await this.page.keyboard.press("Control+A");
    await this.page.keyboard.type(text);
    await this.page.keyboard.press("Enter");
  }
  // Brings the eye to a print, and chooses it alone.
  async choose(file) {
    const id = await this.page.evaluate((name) => [...document.querySelectorAll(".print")]
      .find((print) => print.querySelector(".name").textContent === name)?.dataset.id, file);
    if (id === undefined) throw new Error(`${this.name}: no print of ${file}`);
    const print = `.print[data-id="${id}"]`;
    if (!this.keys) {
      await this.page.click(`${print} .name`);
      if (await this.page.getAttribute(print, "aria-selected") !== "true") await this.page.click(`${print} .name`);
      return;
    }
    if (!(await this.page.evaluate(() => document.activeElement?.closest("#sheet") !== null))) await this.tabTo(".print");
    await this.page.keyboard.press("Escape");
    await this.page.keyboard.press("Home");
    for (let i = 0; i < 200; i += 1) {
      if (await this.page.evaluate((s) => document.activeElement.matches(s), print)) return;
      await this.page.keyboard.press("ArrowRight");
    }
    throw new Error(`${this.name}: the arrows do not reach ${file}`);
  }
  // Says what a frame is, and waits until the sheet shows it.
  async say(file, said, words) {
    await this.choose(file);
    const letters = { bare: "b", filtered: "f", dark: "d", leak: "l", out: "o", "": "a" };
    if (this.keys) await this.page.keyboard.press(letters[said]);
    else await this.page.click(`[data-say="${said}"]`);
    await this.shows(file, words);
  }
  async shows(file, words) {
    await until(this.page, ([name, text]) => [...document.querySelectorAll(".print")]
      .some((print) => print.querySelector(".name").textContent === name && print.textContent.includes(text)), [file, words]);
  }
}

async function judge(page, name) {
  await page.evaluate(axe);
  const result = await page.evaluate(() => globalThis.axe.run(document, { resultTypes: ["violations"] }));
  judged += result.passes.length;
  for (const v of result.violations) {
    faults.push(`${name}: ${v.id}: ${v.help}: ${v.nodes.slice(0, 3).map((n) => n.html.slice(0, 140)).join(" | ")}`);
  }
  const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  if (wide > 0) faults.push(`${name}: ${wide} px too wide`);
}

// --- what the screen says against the profile ---

async function compareSheet(page, profile, name) {
  const prints = await page.$$eval(".print", (all) => all.map((print) => {
    const part = (of) => print.querySelector(`.${of}`).textContent;
    const picture = print.querySelector("img");
    return {
      file: part("name"), line: part("figures-line"), taken: part("taken"), reason: part("reason"),
      drawn: picture.complete && picture.naturalWidth > 8,
      bar: Number(print.querySelector(".light").getAttribute("width")),
    };
  }));
  const words = { bare: "Bare", dark: "Dark", setting: "Through the filter", left_out: "Left out" };
  expect(prints.length === profile.frames.length, `${name}: ${prints.length} prints of ${profile.frames.length} frames`);
  const exposed = (f) => Math.log2((f.levels.green_1 + f.levels.green_2) / 2 / f.exposure_s / f.iso * f.f_number ** 2);
  const bare = profile.frames.filter((f) => f.state === "bare").map(exposed).sort((a, b) => a - b);
  const middle = (bare[Math.floor((bare.length - 1) / 2)] + bare[Math.ceil((bare.length - 1) / 2)]) / 2;
  for (const frame of profile.frames) {
    const print = prints.find((p) => p.file === frame.file);
    if (!print) { faults.push(`${name}: no print of ${frame.file}`); continue; }
    expect(print.drawn, `${name}: no picture of ${frame.file}`);
    expect(print.taken.startsWith(words[frame.state]), `${name}: ${frame.file} is shown as ${print.taken}, the profile says ${frame.state}`);
    expect(print.line.includes(`ISO ${frame.iso}`) && print.line.includes(`f/${frame.f_number}`), `${name}: ${frame.file}: ${print.line}`);
    expect(print.line.includes(frame.dial_time ?? ""), `${name}: ${frame.file}: ${print.line} for ${frame.dial_time}`);
    const level = (frame.levels.green_1 + frame.levels.green_2) / 2 / (WHITE - BLACK);
    const shown = /level ([\d.]+) %/.exec(print.line)?.[1];
    expect(shown !== undefined && agrees(shown, 100 * level), `${name}: ${frame.file}: level ${shown}, not ${100 * level}`);
    expect(Math.abs(print.bar - Math.min(104, 100 * level)) < 0.1, `${name}: ${frame.file}: a bar of ${print.bar} for ${level}`);
    const apart = /([\d.]+) stops (darker|brighter)/.exec(print.reason);
    if (apart && frame.state !== "left_out") {
      const own = (apart[2] === "darker" ? 1 : -1) * Number(apart[1]);
      expect(Math.abs(own - (middle - exposed(frame))) < 0.06, `${name}: ${frame.file}: ${print.reason}, by its level ${middle - exposed(frame)}`);
    }
  }
}

function strongest(profile) {
  const stops = profile.settings.map((s) => s.strength.stops);
  return stops.length > 1 ? [Math.min(...stops), Math.max(...stops)] : [stops[0], profile.settings[0].strength.u95];
}

async function compareAnswer(page, profile, name) {
  const answer = await page.textContent("#answer");
  const figures = [...answer.matchAll(/\d+\.\d+/g)].map((m) => m[0]);
  const [first, second] = strongest(profile);
  expect(figures.length > 0 && agrees(figures[0], first), `${name}: "${answer}", the profile says ${first}`);
  if (profile.settings.length > 1) expect(agrees(figures[1], second), `${name}: "${answer}", the profile says ${second}`);
}

const profileOf = (page) => page.evaluate(async () => (await fetch("/profile.json")).text());

function measured(folder) {
  try {
    return execFileSync(program, ["measure", folder, "--format", "json"], { encoding: "utf8", maxBuffer: 1 << 28 });
  } catch (fault) {
    // Status 1: done, some frames left out.
    if (fault.status === 1) return fault.stdout;
    throw fault;
  }
}

// --- the job ---

async function chooseFolder(page, hand, folder) {
  await page.waitForSelector("#choose:not([hidden])");
  await judge(page, `${hand.name}, choosing`);
  await hand.write("#path", folder);
  await page.waitForSelector("#inside:not([hidden])");
  await hand.press("#take");
  await page.waitForSelector(".print", { timeout: PATIENCE });
  await page.waitForSelector("#answer", { timeout: PATIENCE });
}

// On paper: the caution on the sun is there, and no print is parted from itself or its heading.
async function printed(page, name) {
  await page.emulateMedia({ media: "print" });
  const seen = await page.evaluate(() => {
    const style = (selector) => getComputedStyle(document.querySelector(selector));
    return [style(".guard").display, style(".run").breakInside, style(".print").breakInside, style(".run > .heading").breakAfter];
  });
  expect(seen.join() === "block,avoid,avoid,avoid", `${name}: printed as ${seen}`);
  await page.emulateMedia({ media: null });
}

async function tenStop(page, hand, to) {
  const folder = spoiltTen(to);
  const before = readdirSync(folder).length;
  await chooseFolder(page, hand, folder);
  const first = JSON.parse(await profileOf(page));
  await until(page, () => [...document.querySelectorAll(".print img")].every((i) => i.complete && i.naturalWidth > 0));
  await compareSheet(page, first, `${hand.name}, ten-stop`);
  await compareAnswer(page, first, `${hand.name}, ten-stop`);
  await judge(page, `${hand.name}, sheet`);
  // The eye sees the cloud and the forgotten filter, and says so.
  await hand.say(SPOILT.clouded, "out", "As you said: left out");
  await hand.say(SPOILT.swapped, "out", "As you said: left out");
  await hand.say("SKA_3101.dng", "bare", "As you said: bare");
  // A slip, taken back.
  await hand.say("SKA_3103.dng", "dark", "As you said: dark");
  if (hand.keys) await page.keyboard.press("u");
  else await page.click("#undo");
  await hand.shows("SKA_3103.dng", "As you said: bare");
  // A button that has nothing more to do keeps the keys where they are.
  if (hand.keys) {
    await hand.press("#redo");
    await page.waitForSelector('#redo[aria-disabled="true"]');
    expect(await page.evaluate(() => document.activeElement.id === "redo"), `${hand.name}: the keys lost their place`);
    await hand.press("#undo");
    await hand.shows("SKA_3103.dng", "As you said: bare");
  }
  await hand.write("#name", "Harbour Ten");
  // A rating that may be a density is told of as long as it stands there.
  await hand.write("#rated", "3.0");
  await until(page, () => document.querySelector("#word").textContent.includes("3.0D"));
  await hand.write("#rated", "10");
  await until(page, () => document.querySelector("#word").hidden);
  await until(page, () => document.querySelector("#title").textContent === "Harbour Ten" && document.querySelector("#answer").textContent.includes("than rated"));
  const text = await profileOf(page);
  const profile = JSON.parse(text);
  await compareSheet(page, profile, `${hand.name}, ten-stop answered`);
  await compareAnswer(page, profile, `${hand.name}, ten-stop answered`);
  await judge(page, `${hand.name}, answered`);
  // What was planted, within what is claimed.
  const truth = JSON.parse(readFileSync(path.join(room, "truth.json"), "utf8")).shoots.find((s) => s.folder === "harbour-ten").planted[0].stops[1];
  const { stops, u95 } = profile.settings[0].strength;
  expect(Math.abs(stops - truth) <= u95, `${hand.name}: ${stops} +- ${u95} stops, planted ${truth}`);
  await printed(page, `${hand.name}, sheet`);
  expect(readdirSync(folder).length === before, `${hand.name}: something was written before it was asked for`);
  await hand.press("#save");
  await page.waitForSelector('#save[aria-disabled="true"]');
  expect(existsSync(path.join(folder, "shoot.json")), `${hand.name}: nothing was saved`);
  expect(measured(folder) === text, `${hand.name}: the command line measures another profile`);
  return { folder, text };
}

async function filterPlace(page, hand, { folder, text }) {
  await hand.press('.places a[href="/filter"]');
  await page.waitForSelector("#report h1");
  const profile = JSON.parse(text);
  const shown = (await page.textContent("#measured")).split(/\s\u00b1\s| to /);
  const expected = strongest(profile);
  expect(shown.every((figure, i) => agrees(figure, expected[i])), `${hand.name}: the page says ${shown}, the profile ${expected}`);
  expect(await page.textContent("#report h1") === profile.filter.name, `${hand.name}: another name on the page`);
  await judge(page, `${hand.name}, filter`);
  await hand.press("#write");
  await until(page, () => document.querySelector("#word").textContent.startsWith("Written"));
  const written = path.join(path.dirname(folder), "harbour-ten-profile", "profile.json");
  expect(readFileSync(written, "utf8") === text, `${hand.name}: another profile was written`);
  // A second time is asked for.
  await hand.press("#write");
  await page.waitForSelector("#ask[open]");
  await judge(page, `${hand.name}, asked`);
  if (hand.keys) await page.keyboard.press("Escape");
  else await page.click("#ask-no");
}

// Follows a link that opens a page of its own; gives that page.
async function opened(page, hand, selector) {
  const [other] = await Promise.all([page.context().waitForEvent("page"), hand.press(selector)]);
  await other.waitForLoadState();
  return other;
}

async function kitPlace(page, hand, { text }) {
  const profile = JSON.parse(text);
  await hand.press("#keep");
  await until(page, () => document.querySelector("#word").textContent.startsWith("Kept Harbour Ten"));
  await hand.press('.places a[href="/kit"]');
  await page.waitForSelector("#filters tr");
  await judge(page, `${hand.name}, kit`);
  const cells = await page.$$eval("#filters tr", (rows) => rows.map((row) => [...row.cells].map((cell) => cell.textContent)));
  expect(cells.length === 2, `${hand.name}: two filters, one of them measured twice, fill ${cells.length} rows`);
  const [takes, doubt] = cells[0][1].split("\u00b1");
  const { stops, u95 } = profile.settings[0].strength;
  expect(agrees(takes, stops) && agrees(doubt, u95), `${hand.name}: the kit says ${cells[0][1]}, the profile ${stops} +- ${u95}`);
  expect(cells[0][4].includes("2 measurements"), `${hand.name}: ${cells[0][4]}`);
  // The sheet for a purchase or a return, as it is printed.
  const sheet = await opened(page, hand, '#filters a[href^="/kit/sheet"]');
  expect((await sheet.textContent("body")).includes("Harbour Ten"), `${hand.name}: an empty sheet`);
  await judge(sheet, `${hand.name}, printed sheet`);
  const paper = await sheet.pdf({ format: "A4" });
  expect(paper.subarray(0, 5).toString() === "%PDF-" && paper.length > 5000, `${hand.name}: the sheet is not printed`);
  await sheet.close();
  const both = await opened(page, hand, '#filters a[href^="/kit/compare"]');
  expect((await both.textContent("body")).includes("Harbour Ten"), `${hand.name}: no comparison`);
  await judge(both, `${hand.name}, first and newest`);
  await both.close();
  const years = await opened(page, hand, '#filters a[href^="/kit/years"]');
  await judge(years, `${hand.name}, years`);
  await years.close();
  const body = await opened(page, hand, '#bodies a[href^="/kit/body"]');
  expect((await body.textContent("h1")).includes("K2-00999"), `${hand.name}: no camera record`);
  await judge(body, `${hand.name}, camera record`);
  await body.close();
  const card = await opened(page, hand, 'a[href="/kit/cards"]');
  expect((await card.pdf({ preferCSSPageSize: true })).length > 5000, `${hand.name}: no card`);
  await card.close();
}

async function ring(page, hand, to) {
  const folder = copied("tide-ring", to);
  await hand.press('.places a[href="/shoot"]');
  await page.waitForSelector("#another");
  await hand.press("#another");
  await chooseFolder(page, hand, folder);
  await until(page, (f) => document.querySelector("#folder").textContent === f, folder);
  await until(page, () => document.querySelectorAll(".run").length >= 10);
  const marks = ["min", "1", "2", "3", "4", "5", "6", "max"];
  await hand.write("#marks", marks.join(", "));
  await until(page, () => document.querySelector("#sheet").textContent.includes("mark max"));
  const profile = JSON.parse(await profileOf(page));
  expect(profile.settings.map((s) => s.mark).join() === marks.join(), `${hand.name}: marks ${profile.settings.map((s) => s.mark)}`);
  await compareSheet(page, profile, `${hand.name}, ring`);
  await compareAnswer(page, profile, `${hand.name}, ring`);
  await judge(page, `${hand.name}, ring`);
  // One run to another mark and back.
  await hand.choose("SKA_3143.dng");
  if (hand.keys) await page.keyboard.press("r");
  else await page.click("#run");
  expect((await page.textContent("#chosen")).startsWith("2 frames"), `${hand.name}: a run of ${await page.textContent("#chosen")}`);
  if (hand.keys) { await page.keyboard.press("m"); await page.keyboard.type("low"); await page.keyboard.press("Enter"); }
  else { await page.fill("#mark", "low"); await page.click("#set-mark"); }
  await hand.shows("SKA_3144.dng", "mark low");
  await hand.press("#undo");
  await hand.shows("SKA_3144.dng", "mark min");
  await hand.press("#save");
  await page.waitForSelector('#save[aria-disabled="true"]');
  expect(JSON.stringify(JSON.parse(measured(folder))) === JSON.stringify(profile), `${hand.name}: the command line measures another ring`);
}

// Photographs of an evening: what is found, what is answered, what is written.
async function evening(page, hand, to) {
  const folder = copied("evening", to);
  for (const made of ["used.csv", "corrected"]) rmSync(path.join(folder, made), { recursive: true, force: true });
  const count = readdirSync(folder).filter((name) => name.endsWith(".dng")).length;
  await hand.press('.places a[href="/photographs"]');
  await page.waitForSelector("#choose:not([hidden])");
  await hand.write("#path", folder);
  await page.waitForSelector("#inside:not([hidden])");
  await hand.press("#take");
  await until(page, () => /\d+ of \d+ photographs known/.test(document.querySelector("#known").textContent));
  await until(page, () => [...document.querySelectorAll(".print img")].every((i) => i.complete && i.naturalWidth > 8));
  expect((await page.$$(".print")).length === count, `${hand.name}: not ${count} photographs`);
  await judge(page, `${hand.name}, photographs`);
  // The evening's last picture: bare, and nothing tells of it.
  const last = readdirSync(folder).filter((name) => name.endsWith(".dng")).sort().at(-1);
  await hand.choose(last);
  if (hand.keys) await page.keyboard.press("b");
  else await page.click('[data-say="bare"]');
  await hand.shows(last, "As you said: without a filter");
  // Closing now would lose that: the browser asks, and is told to stay.
  const asked = page.waitForEvent("dialog");
  page.close({ runBeforeUnload: true }).catch(() => {});
  const dialog = await asked;
  expect(dialog.type() === "beforeunload", `${hand.name}: asked ${dialog.type()}`);
  await dialog.dismiss();
  await hand.press("#correct");
  await until(page, () => document.querySelector("#correcting").textContent === "Done.");
  const rows = readFileSync(path.join(folder, "used.csv"), "utf8").trim().split("\n").slice(1);
  expect(rows.length === count, `${hand.name}: ${rows.length} rows of ${count} photographs`);
  const planted = JSON.parse(readFileSync(path.join(room, "truth.json"), "utf8")).evening ?? [];
  const shown = await page.$$eval(".print", (all) => all.map((p) => [p.querySelector(".name").textContent, p.querySelector(".taken").textContent]));
  for (const [file, through] of shown) {
    const row = rows.find((r) => r.startsWith(file) || r.includes(`/${file}`));
    const cell = row?.split(",")[3] ?? "";
    const expected = cell === "none" ? "Without a filter" : cell === "" ? "Not known" : cell;
    expect(through.startsWith(expected), `${hand.name}: ${file} is shown as ${through}, the table says ${cell}`);
    const truth = planted.find((p) => p.file === file);
    if (truth && cell !== "") expect(cell === (truth.filters.join(" + ") || "none"), `${hand.name}: ${file}: ${cell}, planted ${truth.filters}`);
  }
  const corrected = readdirSync(path.join(folder, "corrected")).filter((name) => name.endsWith("-corrected.dng"));
  const filtered = rows.filter((r) => !["", "none"].includes(r.split(",")[3]));
  expect(corrected.length > 0 && corrected.length === filtered.length, `${hand.name}: ${corrected.length} files corrected of ${filtered.length}`);
  await judge(page, `${hand.name}, corrected`);
  // A second time the files are asked for, with their number.
  await hand.press("#correct");
  await page.waitForSelector("#ask[open]");
  const words = await page.textContent("#ask-words");
  expect(words.startsWith(`${corrected.length} corrected files lie`), `${hand.name}: ${words}`);
  await judge(page, `${hand.name}, asked again`);
  await hand.press("#ask-no");
}

async function job(browser, way) {
  const to = `${way.hand}-${way.width}`;
  mkdirSync(path.join(room, to), { recursive: true });
  // An older measurement of the same filter lies in the kit already.
  const older = path.join(room, to, "older.json");
  const fixture = readFileSync(path.join(room, "profiles", "harbour-ten-later", "profile.json"), "utf8");
  writeFileSync(older, fixture.replaceAll('"2027-', '"2023-'));
  execFileSync(program, ["kit", "add", older, path.join(demo, "weir-three-profile")], { env: kitOf(to) });
  mkdirSync(path.join(room, to, "kit", "camera-records"));
  cpSync(path.join(room, "body.json"), path.join(room, to, "kit", "camera-records", "body.json"));
  const window = await begin(to);
  const context = await browser.newContext({ viewport: { width: way.width, height: 900 }, colorScheme: way.scheme, bypassCSP: false });
  // axe is brought in past the page's policy, which lets nothing in.
  const page = await context.newPage();
  const hand = new Hand(page, way);
  const own = new URL(window.link).origin;
  page.on("response", (r) => { if (r.status() >= 400 && r.status() !== 409) faults.push(`${hand.name}: ${r.status()} for ${r.url()}`); });
  page.on("console", (m) => { if (["error", "warning"].includes(m.type()) && !m.text().includes("409")) faults.push(`${hand.name}: ${m.text()}`); });
  page.on("pageerror", (e) => faults.push(`${hand.name}: ${e}`));
  page.on("request", (r) => { if (new URL(r.url()).origin !== own) faults.push(`${hand.name}: asks for ${r.url()}`); });
  await page.goto(window.link);
  await page.waitForURL(`${own}/`);
  const ten = await tenStop(page, hand, to);
  await filterPlace(page, hand, ten);
  await kitPlace(page, hand, ten);
  await ring(page, hand, to);
  await evening(page, hand, to);
  // The window ends with its page.
  await page.close({ runBeforeUnload: true });
  const status = await Promise.race([window.ended, new Promise((late) => { setTimeout(() => late("not ended"), 15_000); })]);
  expect(status === 0, `${hand.name}: the window ended with ${status}: ${window.said()}`);
  expect(!window.said().includes("turned away"), `${hand.name}: ${window.said()}`);
  window.child.kill();
  await context.close();
  done += 1;
}

// The ten-stop of the demo as it lies there, nothing saved.
async function draw(browser) {
  const size = { width: 1280, height: 1200 };
  const window = await begin("drawn");
  const context = await browser.newContext({ viewport: size, colorScheme: "light" });
  const page = await context.newPage();
  const hand = new Hand(page, { hand: "mouse", width: size.width, scheme: "light" });
  await page.goto(window.link);
  await page.waitForURL(`${new URL(window.link).origin}/`);
  await chooseFolder(page, hand, path.join(demo, "harbour-ten"));
  await hand.write("#name", "Harbour Ten");
  await hand.write("#rated", "10");
  await until(page, () => document.querySelector("#answer").textContent.includes("than rated"));
  await until(page, () => [...document.querySelectorAll(".print img")].every((i) => i.complete && i.naturalWidth > 0));
  await page.evaluate(() => document.activeElement.blur());
  await page.screenshot({ path: drawing });
  window.child.kill();
  await context.close();
}

const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync"],
});
for (const way of WAYS) {
  try {
    await job(browser, way);
  } catch (fault) {
    faults.push(`${way.hand} at ${way.width}: ${fault.message}`);
  }
}
if (drawing) await draw(browser);
await browser.close();
[...new Set(faults)].forEach((f) => console.error(f));
console.log(`${done} times the whole job, ${compared} figures compared, ${judged} rules passed, ${faults.length} faults`);
if (compared === 0 || judged === 0) throw new Error("nothing was compared");
process.exit(faults.length ? 1 : 0);
