// The contact sheet: shows what the program holds of the frames and sends decisions back.

import { offer, turn } from "/folder.js";
import { Sheet, blank, fill as fillPrint, sentence } from "/prints.js";
import { able, byId, element, get, listen, say, send, shows, unsay } from "/window.js";

const SVG = "http://www.w3.org/2000/svg";
let held = null;

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

let other = false; // another folder is shown than before
const shown = {}; // what stands in the fields unless somebody writes there
function fill(id, value) {
  shown[id] = value;
  // Never under the fingers of somebody who is writing of this folder.
  if (other || document.activeElement !== byId(id)) byId(id).value = value;
}

function showClaims() {
  const { filter } = held;
  fill("name", filter.name);
  byId("name-why").textContent = filter.name_said ? "" : "by its folder";
  fill("kind", filter.kind ?? "");
  byId("kind-why").textContent = filter.kind_guess;
  fill("rated", filter.rated);
  const ring = held.marks.length > 1 || filter.kind === "variable";
  byId("marks-line").hidden = !ring || held.marks.length === 0;
  fill("marks", held.marks.join(", "));
  byId("marks-why").textContent = held.marks_said;
}

// --- the sheet ---

function svg(tag, attributes) {
  const made = document.createElementNS(SVG, tag);
  Object.entries(attributes).forEach(([name, value]) => made.setAttribute(name, value));
  return made;
}

// The light at the centre, and the line from which it is clipped.
function levelBar() {
  const bar = svg("svg", { class: "level", viewBox: "0 0 104 10", preserveAspectRatio: "none", "aria-hidden": "true" });
  bar.append(svg("rect", { class: "light", x: 0, y: 2, width: 0, height: 6 }), svg("rect", { class: "frame", x: 0, y: 2, width: 104, height: 6 }),
    svg("line", { class: "clip", x1: 100, x2: 100, y1: 0, y2: 10 }));
  return bar;
}

function fillFrame(print, frame) {
  fillPrint(print, {
    name: frame.file,
    address: frame.picture ? `/picture/${frame.id}?${held.pictures}` : null,
    figures: [...frame.exposure, frame.level_text && `level ${frame.level_text}`].filter(Boolean).join(", "),
    taken: sentence(frame.taken_text),
    reason: `${sentence(frame.reason)}${frame.clipped ? "; clipped" : ""}`,
    said: frame.said === null ? null : `As you said: ${frame.said}. As the program sees it: ${frame.program ?? "not known"}.`,
  });
  const bar = print.querySelector(".level");
  bar.toggleAttribute("hidden", frame.level === null);
  bar.querySelector(".light").setAttribute("width", Math.max(0, Math.min(104, 100 * (frame.level ?? 0))));
  print.querySelector(".two").classList.toggle("differs", frame.differs);
}

// --- decisions ---

const decide = async (said, mark = null) => {
  const frames = sheet.meant;
  return frames.length ? send("/decide", { frames, said: said || null, mark }) : undefined;
};
// With the mark said, the keys are those of the sheet again.
const mark = async () => {
  if (await decide("filtered", byId("mark").value)) sheet.focus();
};
const step = async (path) => {
  if (await send(path)) unsay("told");
};
const sheet = new Sheet({
  make: () => blank(levelBar()), fill: fillFrame, word: "frame",
  keys: {
    b: () => decide("bare"), f: () => decide("filtered"), d: () => decide("dark"), l: () => decide("leak"), o: () => decide("out"),
    a: () => decide(""), u: () => step("/undo"), y: () => step("/redo"), m: () => byId("mark").focus(),
  },
});

document.querySelectorAll("[data-say]").forEach((button) => { button.onclick = () => decide(button.dataset.say); });
byId("set-mark").onclick = () => decide("filtered", byId("mark").value);
byId("mark").onkeydown = (event) => { if (event.key === "Enter") mark(); };
byId("run").onclick = () => sheet.whole();
byId("undo").onclick = () => step("/undo");
byId("redo").onclick = () => step("/redo");
byId("clear").onclick = () => send("/decide", { frames: [], all: true });
byId("save").onclick = async () => {
  const path = await send("/save");
  if (path) say(`Saved in ${path}.`);
};

for (const id of ["name", "kind", "rated"]) {
  byId(id).onchange = async () => {
    if (byId(id).value === shown[id]) { unsay("answer"); return; }
    const told = await send("/claim", { [id]: byId(id).value });
    // What was told of a rating is about one that stands there no more.
    if (told !== undefined && id === "rated") unsay("told");
    if (told) say(told, "told");
  };
}
byId("marks").onchange = () => byId("marks").value !== shown.marks && send("/marks", { marks: byId("marks").value });
byId("claims").onsubmit = (event) => { event.preventDefault(); document.activeElement.blur(); };

// --- all of it ---

function show() {
  turn("shoot", held);
  if (held === null) return;
  byId("title").textContent = held.filter.name;
  byId("folder").textContent = held.folder;
  const [read, all] = held.read;
  byId("progress").textContent = read < all ? `${read} of ${all} files read` : "";
  showNumbers();
  showClaims();
  sheet.show(held.groups.map((group) => ({ title: group.title, prints: group.frames })));
  byId("beside").textContent = held.beside ?? "";
  const reading = read < all;
  document.querySelectorAll("[data-say], #set-mark").forEach((button) => able(button, !reading));
  able(byId("undo"), held.can_undo);
  able(byId("redo"), held.can_redo);
  able(byId("clear"), !reading && held.said > 0);
  able(byId("save"), held.unsaved);
}

listen(async () => {
  held = await (await get("/state")).json();
  other = held !== null && shows(held.folder_number);
  if (other) {
    sheet.forget();
    unsay("told");
  }
  show();
  other = false;
});
offer("/open", "frame", show).catch((fault) => say(fault.message));
