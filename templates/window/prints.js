// A sheet of small prints in groups: choosing one, several or a run, with the pointer or with keys.

import { byId, element } from "/window.js";

export const sentence = (words) => words.charAt(0).toUpperCase() + words.slice(1);

// An empty print; `more` stands below its figures.
export const blank = (...more) => [
  element("img", { class: "picture", alt: "", width: 180, height: 120 }),
  element("span", { class: "name" }), element("span", { class: "figures-line" }), ...more,
  element("span", { class: "taken" }), element("span", { class: "reason" }), element("span", { class: "two" }),
];

// Writes what every print says; `address` is that of its picture, `said` what a person says, null where there
// is none.
export function fill(print, { name, address, figures, taken, reason, said }) {
  const part = (of) => print.querySelector(`.${of}`);
  const picture = part("picture");
  if (address && picture.getAttribute("src") !== address) picture.src = address;
  if (!address) picture.removeAttribute("src");
  part("name").textContent = name;
  part("figures-line").textContent = figures;
  part("taken").textContent = taken;
  part("reason").textContent = reason;
  part("two").hidden = said === null;
  part("two").textContent = said ?? "";
}

export class Sheet {
  #sheet = byId("sheet");
  #prints = new Map(); // number: its element
  #chosen = new Set(); // numbers
  #active = null; // the number that keys act on
  #anchor = null; // where a stretch began
  #order = []; // numbers in the order shown
  #runs = new Map(); // number: numbers of its run
  #make;
  #fill;
  #word;

  // `make` gives an empty print, `fill` writes into it, `keys` are called by their letter, `word` is
  // what one print is called.
  constructor({ make, fill, keys, word }) {
    [this.#make, this.#fill, this.#word] = [make, fill, word];
    this.#sheet.onkeydown = (event) => this.#key(event, keys);
  }

  // What decisions are about: the chosen ones, else the one with the focus.
  get meant() {
    if (this.#chosen.size) return this.#order.filter((id) => this.#chosen.has(id));
    return this.#active === null ? [] : [this.#active];
  }

  forget() {
    this.#chosen.clear();
    this.#active = null;
    this.#anchor = null;
  }

  show(groups) {
    this.#order = groups.flatMap((group) => group.prints.map((print) => print.id));
    this.#runs = new Map();
    const focused = document.activeElement?.closest?.(".print")?.dataset.id;
    const made = groups.map((group) => {
      const ids = group.prints.map((print) => print.id);
      ids.forEach((id) => this.#runs.set(id, ids));
      const heading = `${group.title}, ${ids.length} ${this.#words(ids.length)}`;
      return element("div", { role: "group", class: "run", "aria-label": heading },
        element("div", { class: "heading", "aria-hidden": "true" }, heading),
        element("div", { class: "prints", role: "presentation" }, ...group.prints.map((print) => this.#filled(print))));
    });
    this.#sheet.replaceChildren(...made);
    for (const id of [...this.#prints.keys()]) if (!this.#runs.has(id)) this.#prints.delete(id);
    for (const id of [...this.#chosen]) if (!this.#runs.has(id)) this.#chosen.delete(id);
    if (!this.#runs.has(this.#active)) this.#active = this.#order[0] ?? null;
    this.#mark();
    if (focused !== undefined) this.#prints.get(Number(focused))?.focus({ preventScroll: true });
  }

  // Brings the keys back to the print that they act on.
  focus() { this.#prints.get(this.#active)?.focus(); }

  // The run of the print with the focus.
  whole() {
    if (this.#active === null) return;
    this.#chosen = new Set(this.#runs.get(this.#active) ?? []);
    this.#mark();
  }

  #words(count) { return count === 1 ? this.#word : `${this.#word}s`; }

  #filled(print) {
    let own = this.#prints.get(print.id);
    if (!own) {
      own = element("div", { role: "option", class: "print", tabindex: "-1", "data-id": print.id }, ...this.#make());
      own.onclick = (event) => this.#point(print.id, event);
      own.onfocus = () => { this.#active = print.id; };
      this.#prints.set(print.id, own);
    }
    this.#fill(own, print);
    return own;
  }

  #mark() {
    this.#prints.forEach((print, id) => {
      print.setAttribute("aria-selected", this.#chosen.has(id));
      print.tabIndex = id === this.#active ? 0 : -1;
    });
    const count = this.#chosen.size;
    byId("chosen").textContent = count ? `${count} ${this.#words(count)} chosen` : `No ${this.#word} chosen`;
  }

  #stretch(from, to) {
    const [a, b] = [this.#order.indexOf(from), this.#order.indexOf(to)].sort((x, y) => x - y);
    this.#chosen = new Set(this.#order.slice(Math.max(a, 0), b + 1));
  }

  #toggle(id) {
    if (!this.#chosen.delete(id)) this.#chosen.add(id);
    this.#anchor = id;
  }

  #point(id, event) {
    this.#active = id;
    if (event.shiftKey && this.#anchor !== null) {
      this.#stretch(this.#anchor, id);
    } else if (event.ctrlKey || event.metaKey) {
      this.#toggle(id);
    } else {
      const alone = this.#chosen.size === 1 && this.#chosen.has(id);
      this.#chosen = new Set(alone ? [] : [id]);
      this.#anchor = id;
    }
    this.#mark();
    this.#prints.get(id).focus({ preventScroll: true });
  }

  #move(id, event) {
    if (id === undefined) return;
    if (event.shiftKey) {
      this.#anchor ??= this.#active;
      this.#stretch(this.#anchor, id);
    } else {
      this.#anchor = id;
    }
    this.#active = id;
    this.#mark();
    this.#prints.get(id).focus();
    this.#prints.get(id).scrollIntoView({ block: "nearest" });
  }

  // The print above or below, by where it stands.
  #beside(direction) {
    const place = (id) => this.#prints.get(id).getBoundingClientRect();
    const middle = (box) => (box.left + box.right) / 2;
    const own = place(this.#active);
    const beyond = this.#order.map((id) => [id, place(id)]).filter(([, box]) => direction * (box.top - own.top) > own.height / 2);
    const nearest = Math.min(...beyond.map(([, box]) => direction * (box.top - own.top)));
    const row = beyond.filter(([, box]) => direction * (box.top - own.top) < nearest + own.height / 2);
    row.sort((a, b) => Math.abs(middle(a[1]) - middle(own)) - Math.abs(middle(b[1]) - middle(own)));
    return row[0]?.[0];
  }

  #key(event, keys) {
    const at = this.#order.indexOf(this.#active);
    const steps = {
      ArrowRight: () => this.#order[at + 1], ArrowLeft: () => this.#order[at - 1],
      ArrowDown: () => this.#beside(1), ArrowUp: () => this.#beside(-1),
      Home: () => this.#order[0], End: () => this.#order[this.#order.length - 1],
    };
    const control = event.ctrlKey || event.metaKey;
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    if (steps[key]) this.#move(steps[key](), event);
    else if (control && key === "a") { this.#chosen = new Set(this.#order); this.#mark(); }
    else if (control && key === "z") keys[event.shiftKey ? "y" : "u"]();
    else if (control && key === "y") keys.y();
    else if (control || event.altKey) return;
    else if (key === " ") { this.#toggle(this.#active); this.#mark(); }
    else if (key === "Escape") { this.#chosen.clear(); this.#mark(); }
    else if (key === "r") this.whole();
    else if (keys[key]) keys[key]();
    else return;
    event.preventDefault();
  }
}
