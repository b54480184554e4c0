// Choosing a folder: where to begin, what lies inside, and taking it.

import { able, byId, element, get, send } from "/window.js";

function line(place, words) {
  const button = element("button", { type: "button" }, words);
  button.onclick = () => look(place.path);
  return element("li", {}, button);
}

let take = "/open"; // where the path of the one that is taken goes
let what = "frame";
let choosing = false;

async function look(path) {
  const inside = await send("/places", { path });
  // What was looked into before is not what is asked for now.
  byId("inside").hidden = !inside;
  if (!inside) return;
  byId("path").value = inside.path;
  byId("inside-path").textContent = inside.path;
  const count = inside.frames.length;
  const names = count > 1 ? `, ${inside.frames[0]} to ${inside.frames[count - 1]}` : "";
  byId("inside-frames").textContent = count === 0
    ? `No ${what}s lie in it; they may lie in a folder below.`
    : `${count} ${count === 1 ? what : `${what}s`}${names}${inside.more ? ", and more" : ""}.`;
  byId("take").onclick = async () => {
    if (await send(take, { path: inside.path })) choosing = false;
  };
  able(byId("above"), inside.above !== null);
  byId("above").onclick = () => look(inside.above);
  byId("inside-folders").replaceChildren(...inside.folders.map((place) => line(place, place.name)));
  byId("take").focus();
}

// Shows either what was taken, in its part of the page, or the choice of another.
export function turn(part, held) {
  const here = held !== null && !choosing;
  const chosen = byId("choose").contains(document.activeElement);
  byId("choose").hidden = here;
  byId(part).hidden = !here;
  if (here && chosen) byId("another").focus();
  byId("back").hidden = held === null;
}

// Offers folders; the path of the one that is taken goes to `address`, `word` is what lies in it, `show` shows
// the page.
export async function offer(address, word, show) {
  [take, what] = [address, word];
  byId("another").onclick = () => { choosing = true; show(); byId("path").focus(); };
  byId("back").onclick = () => { choosing = false; show(); };
  byId("path-form").onsubmit = (event) => { event.preventDefault(); look(byId("path").value.trim()); };
  const places = await (await get("/places")).json();
  byId("beginnings").replaceChildren(...places.map((place) => line(place, `${place.name}: ${place.path}`)));
}
