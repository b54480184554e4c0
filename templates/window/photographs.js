// Photographs by scene: shows which filter each was made through and sends answers back.

import { offer, turn } from "/folder.js";
import { Sheet, blank, fill as fillPrint } from "/prints.js";
import { able, byId, element, get, listen, refill, say, send, shows } from "/window.js";

let held = null;

const fill = (print, photo) => fillPrint(print, {
  name: photo.file,
  address: photo.picture ? `/photograph/${photo.id}?${held.number}` : null,
  figures: photo.exposure,
  taken: photo.through,
  reason: photo.reason,
  said: photo.said === null ? null : `As you said: ${photo.said}.`,
});

const tell = async (saying) => {
  const photographs = sheet.meant;
  return photographs.length ? send("/photographs/say", { photographs, saying }) : undefined;
};
// With the mark said, the keys are those of the sheet again.
const mark = async () => {
  if (await tell({ mark: byId("mark").value })) sheet.focus();
};
const nth = (n) => () => { const filter = held?.kit[n]; if (filter) tell({ filter: filter.name }); };
const sheet = new Sheet({
  make: blank, fill, word: "photograph",
  keys: {
    ...Object.fromEntries(Array.from({ length: 9 }, (_, n) => [String(n + 1), nth(n)])),
    b: () => tell("bare"), n: () => tell("not_known"), p: () => tell("program"),
    u: () => send("/photographs/undo"), y: () => send("/photographs/redo"), m: () => byId("mark").focus(),
  },
});

document.querySelectorAll("[data-say]").forEach((button) => { button.onclick = () => tell(button.dataset.say); });
byId("set-mark").onclick = () => tell({ mark: byId("mark").value });
byId("mark").onkeydown = (event) => { if (event.key === "Enter") mark(); };
byId("run").onclick = () => sheet.whole();
byId("undo").onclick = () => send("/photographs/undo");
byId("redo").onclick = () => send("/photographs/redo");
byId("table").onclick = async () => {
  const path = await send("/photographs/table");
  if (path) say(`Written: ${path}.`);
};
byId("correct-form").onsubmit = (event) => {
  event.preventDefault();
  send("/photographs/correct", { white: byId("white").value });
};

function showBag() {
  byId("no-kit").hidden = held.kit.length > 0;
  const names = held.kit.map((f) => `${f.name} ${f.takes}`).join("\n");
  if (byId("bag").dataset.names !== names) {
    byId("bag").dataset.names = names;
    refill(byId("bag"), ...held.kit.map((filter, n) => {
      const box = element("input", { type: "checkbox", id: `bag-${n}` });
      box.onchange = () => send("/photographs/bag", { name: filter.name, there: box.checked });
      return element("li", {}, box, " ", element("label", { for: `bag-${n}` }, `${filter.name}, ${filter.takes} stops`));
    }));
    refill(byId("through"), ...held.kit.map((filter, n) => {
      const button = element("button", { type: "button", "data-filter": filter.name }, filter.name, n < 9 ? element("kbd", {}, String(n + 1)) : null);
      button.onclick = () => tell({ filter: filter.name });
      return button;
    }));
  }
  held.kit.forEach((filter, n) => { byId(`bag-${n}`).checked = filter.there; });
}

function showCorrecting() {
  const job = held.correcting;
  const running = job !== null && !job.ended;
  byId("bar").hidden = !running;
  if (job) {
    byId("bar").max = Math.max(1, job.done[1]);
    byId("bar").value = job.done[0];
  }
  byId("correcting").textContent = job === null ? "" : running ? `${job.done[0]} of ${job.done[1]} files` : job.fault ?? "Done.";
  byId("lines").replaceChildren(...(job?.ended ? job.lines : []).map((line) => element("li", {}, line)));
  const ready = !running && held.read[0] === held.read[1];
  able(byId("table"), ready);
  able(byId("correct"), ready && held.known > 0);
}

function show() {
  turn("photographs", held);
  if (held === null) return;
  byId("folder").textContent = held.folder;
  const [read, all] = held.read;
  byId("progress").textContent = read < all ? `${read} of ${all} photographs read` : "";
  byId("known").textContent = read < all ? "" : `${held.known} of ${all} photographs known.`;
  byId("where").textContent = `The table goes to ${held.table}, corrected files to ${held.out}.`;
  byId("notes").replaceChildren(...held.notes.map((line) => element("li", {}, line)));
  showBag();
  sheet.show(held.scenes.map((scene) => ({ title: scene.title, prints: scene.photographs })));
  document.querySelectorAll("[data-say], [data-filter], #set-mark").forEach((button) => able(button, read === all));
  able(byId("undo"), held.can_undo);
  able(byId("redo"), held.can_redo);
  showCorrecting();
}

listen(async () => {
  held = await (await get("/photographs/state")).json();
  if (held && shows(held.number)) sheet.forget();
  show();
});
offer("/photographs/open", "photograph", show).catch((fault) => say(fault.message));
