// The page of the filter as it stands, drawn anew with every decision.

import { able, byId, get, listen, say, send, shows } from "/window.js";

byId("write").onclick = async () => {
  const path = await send("/write");
  if (path) say(`Written: ${path}.`);
};

byId("keep").onclick = async () => {
  const said = await send("/keep");
  if (said) say(`${said}.`);
};

listen(async () => {
  const held = await (await get("/state")).json();
  if (held) shows(held.folder_number);
  byId("where").textContent = held ? `into ${held.out}` : "";
  const measured = held !== null && held.answers.length > 0;
  for (const id of ["write", "keep"]) able(byId(id), measured);
  byId("none").hidden = measured;
  if (!measured) {
    byId("none").textContent = held === null ? "Choose the frames of a filter first." : `Nothing is measured yet${held.fault ? `: ${held.fault}` : ""}.`;
    byId("report").replaceChildren();
    return;
  }
  const text = await (await get("/filter/body")).text();
  const page = new DOMParser().parseFromString(text, "text/html");
  const open = new Set([...document.querySelectorAll("#report details[open] h3")].map((h) => h.textContent));
  byId("report").replaceChildren(...document.importNode(page.body, true).childNodes);
  document.querySelectorAll("#report details").forEach((fold) => { fold.open = open.has(fold.querySelector("h3")?.textContent); });
});
