// The contact sheet: shows what the program holds of the frames and sends decisions back.

import { byId, element, get, keep, listen, say, send } from "/window.js";

const SVG = "http://www.w3.org/2000/svg";
const sheet = byId("sheet");
const prints = new Map(); // number of a frame: its element
const chosen = new Set(); // numbers of frames
let active = null; // number of the frame that keys act on
let anchor = null; // where a stretch began
let order = []; // numbers in the order shown
let runs = new Map(); // number of a frame: numbers of its run
let held = null;
let choosing = false;

// --- choosing a folder ---

async function begin() {
  const list = byId("beginnings");
  const places = await (await get("/places")).json();
  list.replaceChildren(...places.map((place) => folderLine(place, `${place.name}: ${place.path}`)));
}

function folderLine(place, words) {
  const button = element("button", { type: "button" }, words);
  button.onclick = () => look(place.path);
  return element("li", {}, button);
}

async function look(path) {
  const inside = await send("/places", { path });
  if (!inside) return;
  byId("path").value = inside.path;
  byId("inside").hidden = false;
  byId("inside-path").textContent = inside.path;
  const count = inside.frames.length;
  const names = count > 1 ? `, ${inside.frames[0]} to ${inside.frames[count - 1]}` : "";
  byId("inside-frames").textContent = count === 0
    ? "No frames lie in it; they may lie in a folder below."
    : `${count} ${count === 1 ? "frame" : "frames"}${names}${inside.more ? ", and more" : ""}.`;
  byId("take").onclick = () => take(inside.path);
  byId("above").disabled = inside.above === null;
  byId("above").onclick = () => look(inside.above);
  byId("inside-folders").replaceChildren(...inside.folders.map((place) => folderLine(place, place.name)));
  byId("take").focus();
}

async function take(path) {
  if (await send("/open", { path }, { forget: true })) {
    choosing = false;
    chosen.clear();
    active = null;
  }
}

byId("path-form").onsubmit = (event) => { event.preventDefault(); look(byId("path").value.trim()); };
byId("another").onclick = () => { choosing = true; show(); begin(); byId("path").focus(); };
byId("back").onclick = () => { choosing = false; show(); };

// --- what the frames show ---

function showNumbers() {
  const parts = [];
  if (held.answers.length) {
    parts.push(element("dl", { class: "four" }, ...held.answers.flatMap(([question, answer], i) => [
      element("dt", {}, question),
      element("dd", i === 0 ? { class: "answer", id: "answer" } : {}, answer),
    ])));
    if (held.consequence) parts.push(element("p", { class: "consequence" }, held.consequence));
  } else if (held.fault) {
    parts.push(element("p", { id: "fault" }, `No answer yet: ${held.fault}.`));
  } else {
    parts.push(element("p", { class: "soft" }, "The answer comes with the last frame."));
  }
  parts.push(...held.told.map((line) => element("p", { class: "soft" }, line)));
  byId("numbers").replaceChildren(...parts);
  byId("cautions").replaceChildren(...held.cautions.map((text) => element("div", { class: "caution number" },
    element("p", {}, element("span", { class: "grade" }, "Caution."), ` ${text}`))));
}

function fill(id, value) {
  // Never under the fingers of somebody who is writing.
  if (document.activeElement !== byId(id)) byId(id).value = value;
}

function showClaims() {
  const { filter } = held;
  fill("name", filter.name);
  byId("name-why").textContent = filter.name_said ? "" : "by its folder";
  fill("kind", filter.kind ?? "");
  byId("kind-why").textContent = filter.kind || !filter.kind_guess ? "" : filter.kind_guess;
  fill("rated", filter.rated);
  const ring = held.marks.length > 1 || filter.kind === "variable";
  byId("marks-line").hidden = !ring || held.marks.length === 0;
  fill("marks", held.marks.join(", "));
  byId("marks-why").textContent = `${held.marks.length} states of the filter, in the order in which they appear`;
}

// --- the sheet ---

function svg(tag, attributes) {
  const made = document.createElementNS(SVG, tag);
  Object.entries(attributes).forEach(([name, value]) => made.setAttribute(name, value));
  return made;
}

function levelBar() {
  const bar = svg("svg", { class: "level", viewBox: "0 0 104 10", preserveAspectRatio: "none", "aria-hidden": "true" });
  bar.append(svg("rect", { class: "light", x: 0, y: 2, width: 0, height: 6 }), svg("rect", { class: "frame", x: 0, y: 2, width: 104, height: 6 }),
    svg("line", { class: "clip", x1: 100, x2: 100, y1: 0, y2: 10 }));
  return bar;
}

function newPrint(id) {
  const print = element("div", { role: "option", class: "print", tabindex: "-1", "data-id": id },
    element("img", { class: "picture", alt: "", width: 180, height: 120 }),
    element("span", { class: "name" }), element("span", { class: "figures-line" }), levelBar(),
    element("span", { class: "taken" }), element("span", { class: "reason" }), element("span", { class: "two" }));
  print.onclick = (event) => point(id, event);
  print.onfocus = () => { active = id; };
  prints.set(id, print);
  return print;
}

function fillPrint(frame) {
  const print = prints.get(frame.id) ?? newPrint(frame.id);
  const part = (name) => print.querySelector(`.${name}`);
  const address = frame.picture ? `/picture/${frame.id}?${held.pictures}` : null;
  const picture = part("picture");
  if (address && picture.getAttribute("src") !== address) picture.src = address;
  if (!address) picture.removeAttribute("src");
  part("name").textContent = frame.file;
  part("figures-line").textContent = [...frame.exposure, frame.level_text && `level ${frame.level_text}`].filter(Boolean).join(", ");
  const bar = part("level");
  bar.toggleAttribute("hidden", frame.level === null);
  bar.querySelector(".light").setAttribute("width", Math.max(0, Math.min(104, 100 * (frame.level ?? 0))));
  part("taken").textContent = sentence(frame.taken_text);
  part("reason").textContent = `${sentence(frame.reason)}${frame.clipped ? "; clipped" : ""}`;
  const two = part("two");
  two.hidden = frame.said === null;
  two.textContent = frame.said === null ? "" : `As you said: ${frame.said}. As the program sees it: ${frame.program ?? "not known"}.`;
  two.classList.toggle("differs", frame.differs);
  return print;
}

const sentence = (words) => words.charAt(0).toUpperCase() + words.slice(1);

function showSheet() {
  order = held.groups.flatMap((group) => group.frames.map((frame) => frame.id));
  runs = new Map();
  const focused = document.activeElement?.closest?.(".print")?.dataset.id;
  const groups = held.groups.map((group, i) => {
    const ids = group.frames.map((frame) => frame.id);
    ids.forEach((id) => runs.set(id, ids));
    const heading = `${group.title}, ${ids.length} ${ids.length === 1 ? "frame" : "frames"}`;
    return element("div", { role: "group", class: "run", "aria-label": heading, "data-run": i },
      element("div", { class: "heading", "aria-hidden": "true" }, heading),
      element("div", { class: "prints", role: "presentation" }, ...group.frames.map(fillPrint)));
  });
  sheet.replaceChildren(...groups);
  for (const id of [...prints.keys()]) if (!order.includes(id)) prints.delete(id);
  for (const id of [...chosen]) if (!order.includes(id)) chosen.delete(id);
  if (!order.includes(active)) active = order[0] ?? null;
  showChosen();
  if (focused !== undefined && prints.has(Number(focused))) prints.get(Number(focused)).focus({ preventScroll: true });
}

function showChosen() {
  prints.forEach((print, id) => {
    print.setAttribute("aria-selected", chosen.has(id));
    print.tabIndex = id === active ? 0 : -1;
  });
  const count = chosen.size;
  byId("chosen").textContent = count ? `${count} ${count === 1 ? "frame" : "frames"} chosen` : "No frame chosen";
}

// --- choosing frames ---

function stretch(from, to) {
  const [a, b] = [order.indexOf(from), order.indexOf(to)].sort((x, y) => x - y);
  return order.slice(Math.max(a, 0), b + 1);
}

function point(id, event) {
  active = id;
  if (event.shiftKey && anchor !== null) {
    chosen.clear();
    stretch(anchor, id).forEach((one) => chosen.add(one));
  } else if (event.ctrlKey || event.metaKey) {
    if (!chosen.delete(id)) chosen.add(id);
    anchor = id;
  } else {
    const alone = chosen.size === 1 && chosen.has(id);
    chosen.clear();
    if (!alone) chosen.add(id);
    anchor = id;
  }
  showChosen();
  prints.get(id).focus({ preventScroll: true });
}

function moveTo(id, event) {
  if (id === undefined || id === null) return;
  if (event.shiftKey) {
    anchor ??= active;
    chosen.clear();
    stretch(anchor, id).forEach((one) => chosen.add(one));
  } else {
    anchor = id;
  }
  active = id;
  showChosen();
  prints.get(id).focus();
  prints.get(id).scrollIntoView({ block: "nearest" });
}

// The print above or below by where it stands.
function inRow(direction) {
  const own = prints.get(active).getBoundingClientRect();
  const middle = (box) => (box.left + box.right) / 2;
  const beyond = order.map((id) => [id, prints.get(id).getBoundingClientRect()])
    .filter(([, box]) => direction * (box.top - own.top) > own.height / 2);
  const nearest = Math.min(...beyond.map(([, box]) => direction * (box.top - own.top)));
  const row = beyond.filter(([, box]) => direction * (box.top - own.top) < nearest + own.height / 2);
  row.sort((a, b) => Math.abs(middle(a[1]) - middle(own)) - Math.abs(middle(b[1]) - middle(own)));
  return row[0]?.[0];
}

function whole() {
  if (active === null) return;
  chosen.clear();
  (runs.get(active) ?? []).forEach((id) => chosen.add(id));
  showChosen();
}

// --- decisions ---

const meant = () => (chosen.size ? order.filter((id) => chosen.has(id)) : active === null ? [] : [active]);

async function decide(said, mark = null) {
  const frames = meant();
  if (frames.length) await send("/decide", { frames, said: said || null, mark });
}

document.querySelectorAll("[data-say]").forEach((button) => { button.onclick = () => decide(button.dataset.say); });
byId("set-mark").onclick = () => decide("filtered", byId("mark").value);
byId("mark").onkeydown = (event) => { if (event.key === "Enter") decide("filtered", byId("mark").value); };
byId("run").onclick = whole;
byId("undo").onclick = () => send("/undo");
byId("redo").onclick = () => send("/redo");
byId("clear").onclick = () => send("/decide", { frames: [], all: true });
byId("save").onclick = async () => {
  const path = await send("/save");
  if (path) say(`Saved in ${path}.`);
};

const LETTERS = { b: "bare", f: "filtered", d: "dark", l: "leak", x: "out", p: "" };
sheet.onkeydown = (event) => {
  const at = order.indexOf(active);
  const steps = {
    ArrowRight: () => order[at + 1], ArrowLeft: () => order[at - 1], ArrowDown: () => inRow(1), ArrowUp: () => inRow(-1),
    Home: () => order[0], End: () => order[order.length - 1],
  };
  const control = event.ctrlKey || event.metaKey;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  if (steps[key]) moveTo(steps[key](), event);
  else if (control && key === "a") { order.forEach((id) => chosen.add(id)); showChosen(); }
  else if (control && key === "z") send(event.shiftKey ? "/redo" : "/undo");
  else if (control && key === "y") send("/redo");
  else if (control || event.altKey) return;
  else if (key === " ") { if (!chosen.delete(active)) chosen.add(active); anchor = active; showChosen(); }
  else if (key === "Escape") { chosen.clear(); showChosen(); }
  else if (key in LETTERS) decide(LETTERS[key]);
  else if (key === "r") whole();
  else if (key === "u") send("/undo");
  else if (key === "y") send("/redo");
  else if (key === "m") byId("mark").focus();
  else return;
  event.preventDefault();
};

for (const id of ["name", "kind", "rated"]) {
  byId(id).onchange = async () => {
    const told = await send("/claim", { [id]: byId(id).value });
    if (told) say(told, "told");
  };
}
byId("marks").onchange = () => send("/marks", { marks: byId("marks").value });
byId("claims").onsubmit = (event) => { event.preventDefault(); document.activeElement.blur(); };

// --- all of it ---

function show() {
  const here = held !== null && !choosing;
  byId("choose").hidden = here;
  byId("shoot").hidden = !here;
  byId("back").hidden = held === null;
  if (held === null) return;
  byId("title").textContent = held.filter.name;
  byId("folder").textContent = held.folder;
  const [read, all] = held.read;
  byId("progress").textContent = read < all ? `${read} of ${all} files read` : "";
  showNumbers();
  showClaims();
  showSheet();
  byId("beside").textContent = held.beside ?? "";
  const reading = read < all;
  document.querySelectorAll("[data-say], #set-mark").forEach((button) => { button.disabled = reading; });
  byId("undo").disabled = !held.can_undo;
  byId("redo").disabled = !held.can_redo;
  byId("clear").disabled = reading || held.said === 0;
  byId("save").disabled = !held.unsaved;
  keep(held.document);
}

addEventListener("beforeunload", (event) => { if (held?.unsaved && !event.defaultPrevented && leaving) event.preventDefault(); });
let leaving = true; // steps to another place of the window lose nothing
document.querySelectorAll(".places a").forEach((link) => link.addEventListener("click", () => { leaving = false; }));

listen(async () => {
  held = await (await get("/state")).json();
  show();
});
begin().catch((fault) => say(fault.message));
