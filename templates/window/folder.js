// Choosing a folder: where to begin, what lies inside, and taking it.

import { able, byId, element, get, send } from "/window.js";

function line(place, words) {
  const button = element("button", { type: "button" }, words);
  button.onclick = () => look(place.path);
  return element("li", {}, button);
}

let taken = async () => {};
let what = "frame";

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
  byId("take").onclick = () => taken(inside.path);
  able(byId("above"), inside.above !== null);
  byId("above").onclick = () => look(inside.above);
  byId("inside-folders").replaceChildren(...inside.folders.map((place) => line(place, place.name)));
  byId("take").focus();
}

// Offers folders; `take` is called with the path of the one that is taken.
export async function offer(take, word) {
  taken = take;
  what = word;
  byId("path-form").onsubmit = (event) => { event.preventDefault(); look(byId("path").value.trim()); };
  const places = await (await get("/places")).json();
  byId("beginnings").replaceChildren(...places.map((place) => line(place, `${place.name}: ${place.path}`)));
}
