// What all places share: asking the program, hearing its news, saying what went wrong in one line.

export const byId = (id) => document.getElementById(id);

// An element with its attributes and children; text is text, never markup.
export function element(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value !== null && value !== false) made.setAttribute(name, value);
  }
  made.append(...children.filter((child) => child !== null));
  return made;
}

let said = null; // what the line at the top is about
export function say(text, about = "answer") {
  const line = byId("word");
  said = text ? about : null;
  line.replaceChildren(text);
  line.hidden = !text;
}
export function unsay(about) {
  if (said === about) say("");
}

// A button that cannot be used now keeps its place for the keys, so that the focus is never lost.
export function able(button, is) { button.setAttribute("aria-disabled", String(!is)); }
addEventListener("click", (event) => {
  if (!event.target.closest?.('[aria-disabled="true"]')) return;
  event.preventDefault();
  event.stopImmediatePropagation();
}, true);

// Fills an element anew; what had the focus in it has it again.
export function refill(own, ...children) {
  const stops = () => [...own.querySelectorAll("a, button, input, select")];
  const at = stops().indexOf(document.activeElement);
  own.replaceChildren(...children);
  if (at >= 0) stops()[Math.min(at, stops().length - 1)]?.focus();
}

// Gives what is sent along with the answer that was chosen, or undefined.
function question(words, choices) {
  const dialog = byId("ask");
  byId("ask-words").textContent = words;
  return new Promise((decided) => {
    const button = (id, label, chosen) => {
      const made = element("button", { type: "button", id }, label);
      made.onclick = () => { dialog.close(); decided(chosen); };
      return made;
    };
    const yes = choices.flatMap(({ label, send: more }, n) => [button(n === 0 ? "ask-yes" : `ask-${n}`, label, more), " "]);
    byId("ask-buttons").replaceChildren(...yes, button("ask-no", choices[0].label === "Yes" ? "No" : "Cancel", undefined));
    dialog.oncancel = () => decided(undefined);
    dialog.showModal();
  });
}

// The folder that this page shows, by its number: what is sent is meant for that one alone.
let folder = null;
// Says which it is; gives whether it is another one than before.
export function shows(number) {
  const other = folder !== null && folder !== number;
  folder = number;
  return other;
}

// Sends a decision. Where the program asks back, the person is asked and the answer is sent along.
// Gives the answer, or undefined where nothing was done.
export async function send(path, body = {}) {
  fresh += 1;
  try {
    return await sent(path, body);
  } finally {
    // Nobody waits for that: until it is known, the words count as not written.
    learn().catch(() => {}).finally(() => { fresh -= 1; });
  }
}

async function sent(path, body) {
  let response;
  const headers = { "content-type": "application/json" };
  if (folder !== null) headers["x-folder"] = folder;
  try {
    response = await fetch(path, { method: "POST", headers, body: JSON.stringify(body) });
  } catch {
    gone();
    return undefined;
  }
  const answer = await response.json().catch(() => null);
  if (response.ok) {
    unsay("answer");
    return answer;
  }
  if (response.status === 409 && answer?.ask) {
    const chosen = await question(answer.error, answer.choices);
    return chosen ? sent(path, { ...body, ...chosen }) : undefined;
  }
  say(answer?.error ?? "that could not be done");
  return undefined;
}

export async function get(path) {
  const response = await fetch(path);
  if (response.ok) return response;
  const answer = await response.json().catch(() => null);
  throw new Error(answer?.error ?? "that is not there");
}

// What would be lost if the program ended now, or its last page were closed.
let lost = { documents: [], correcting: false };
// Words on their way, or so new that this page does not know yet whether they are written.
let fresh = 0;
// Answers may overtake each other: what was asked for last is the newest.
let asked = 0;
let taken = 0;
async function learn() {
  asked += 1;
  const own = asked;
  const known = await (await get("/unsaved")).json();
  if (own > taken) [taken, lost] = [own, known];
}

export function gone() {
  const { documents, correcting } = lost;
  const broken = correcting ? " Corrections were being written; those that are there are whole." : "";
  if (!documents.length) {
    say(`The program has ended.${broken || " Nothing is lost;"}${broken ? " Start" : " start"} it again to go on.`, "gone");
    return;
  }
  say(`The program has ended.${broken}`, "gone");
  for (const { file, of, text } of documents) {
    const type = file.endsWith(".json") ? "application/json" : "text/csv";
    const link = element("a", { download: file, href: URL.createObjectURL(new Blob([text], { type })) }, `keep it as ${file}`);
    byId("word").append(` What you said of the ${of} is still here: `, link, ` and put it into the folder with the ${of}.`);
  }
}

// Steps to another place of the window lose nothing.
let leaving = true;
function stays() {
  leaving = false;
  setTimeout(() => { leaving = true; }, 1000);
}
document.addEventListener("click", (event) => {
  const own = event.target.closest?.('a[href^="/"]:not([target])');
  if (own && !event.ctrlKey && !event.metaKey && !event.shiftKey) stays();
});
// A form that the page answers itself is no step.
document.addEventListener("submit", (event) => {
  if (!event.defaultPrevented && event.target.method !== "dialog") stays();
});
addEventListener("beforeunload", (event) => {
  if (leaving && (fresh || lost.documents.length || lost.correcting)) event.preventDefault();
});

// Calls `look` at once and whenever there is something new; news that come while looking are looked
// at together.
export function listen(look) {
  let looking = false;
  let again = false;
  const news = async () => {
    if (looking) { again = true; return; }
    looking = true;
    do {
      again = false;
      // What would be lost is asked for again with the next news; the look is waited for.
      await Promise.all([learn().catch(() => {}), look()]).catch((fault) => say(fault.message));
    } while (again);
    looking = false;
  };
  const hear = () => {
    const source = new EventSource("/events");
    source.onmessage = () => { unsay("gone"); news(); };
    source.onerror = async () => {
      // The browser tries again by itself, unless it was turned away.
      const refused = source.readyState === EventSource.CLOSED;
      await new Promise((later) => { setTimeout(later, 1500); });
      if (source.readyState === EventSource.OPEN) return;
      const there = await fetch("/state").then(() => true, () => false);
      if (!there) gone();
      else if (refused) {
        say("As many pages of this window are open as a browser keeps up with: close one of them, and this one goes on.", "gone");
        hear();
      }
    };
  };
  hear();
  addEventListener("pagehide", () => navigator.sendBeacon("/leave"));
  addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
}
