// The filters that are kept: a table, and putting it in order.

import { able, byId, element, get, listen, refill, say, send } from "/window.js";

let held = null;
const chosen = new Set();

function link(words, path) {
  return element("a", { href: path, target: "_blank", rel: "noopener" }, words);
}

const named = (path, name) => `${path}?name=${encodeURIComponent(name)}`;

function row(filter, n) {
  const box = element("input", { type: "checkbox", id: `filter-${n}` });
  box.checked = chosen.has(filter.name);
  box.onchange = () => {
    if (box.checked) chosen.add(filter.name); else chosen.delete(filter.name);
    able(byId("compare"), chosen.size === 2);
  };
  const pages = [link("page", named("/kit/report", filter.name)), ", ", link("sheet", named("/kit/sheet", filter.name))];
  if (filter.times > 1) {
    pages.push(", ", link("years", named("/kit/years", filter.name)), ", ", link("first and newest", `/kit/compare?a=${encodeURIComponent(filter.name)}`));
  }
  const name = element("label", { for: `filter-${n}` }, filter.name);
  return element("tr", {}, element("th", { scope: "row" }, box, " ", name, filter.retired ? " (retired)" : ""),
    element("td", {}, filter.takes), element("td", {}, filter.colour), element("td", {}, filter.turn),
    element("td", {}, `${filter.day}${filter.age ? ` (${filter.age})` : ""}, ${filter.measured}`),
    element("td", {}, filter.since || "-"), element("td", {}, ...pages));
}

function options(id) {
  const before = byId(id).value;
  byId(id).replaceChildren(...held.filters.map((f) => element("option", { value: f.name }, f.name)));
  if (held.filters.some((f) => f.name === before)) byId(id).value = before;
}

async function look() {
  held = await (await get("/kit/state")).json();
  byId("empty").hidden = held.filters.length > 0;
  byId("all").hidden = held.filters.length === 0;
  for (const name of [...chosen]) if (!held.filters.some((f) => f.name === name)) chosen.delete(name);
  refill(byId("filters"), ...held.filters.map(row));
  able(byId("compare"), chosen.size === 2);
  options("which");
  options("into");
  byId("cameras").hidden = held.bodies.length === 0;
  refill(byId("bodies"), ...held.bodies.map(([name, words]) => element("li", {}, words, ": ", link("page", named("/kit/body", name)))));
  byId("root").textContent = `In ${held.root}.`;
  byId("damaged").replaceChildren(...held.damaged.map((line) => element("li", {}, `Not read: ${line}`)));
}

async function change(body) {
  const said = await send("/kit/change", body);
  await look();
  if (said) say(said);
}

byId("compare").onclick = () => {
  const [a, b] = held.filters.map((f) => f.name).filter((name) => chosen.has(name));
  window.open(`/kit/compare?a=${encodeURIComponent(a)}&b=${encodeURIComponent(b)}`, "_blank", "noopener");
};
const which = () => byId("which").value;
byId("rename").onclick = () => change({ what: "rename", name: which(), to: byId("to").value });
byId("merge").onclick = () => change({ what: "merge", name: which(), into: byId("into").value });
byId("retire").onclick = () => change({ what: "retire", name: which() });
byId("bring").onclick = () => change({ what: "back", name: which() });
byId("order").onsubmit = (event) => { event.preventDefault(); change({ what: "rename", name: which(), to: byId("to").value }); };

listen(look);
