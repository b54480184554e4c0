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

function question(words) {
  const dialog = byId("ask");
  byId("ask-words").textContent = words;
  dialog.showModal();
  return new Promise((decided) => {
    const end = (answer) => () => { dialog.close(); decided(answer); };
    byId("ask-yes").onclick = end(true);
    byId("ask-no").onclick = end(false);
    dialog.oncancel = () => decided(false);
  });
}

// Sends a decision. Where the program asks back, the person is asked and `agreed` is sent along.
// Gives the answer, or undefined where nothing was done.
export async function send(path, body = {}, agreed = { replace: true }) {
  let response;
  try {
    response = await fetch(path, {
      method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body),
    });
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
    return (await question(answer.error)) ? send(path, { ...body, ...agreed }, agreed) : undefined;
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

// What cannot be lost where the program ends before it was saved: the text of shoot.json.
let kept = null;
export function keep(text) { kept = text; }

export function gone() {
  if (!kept) {
    say("The program has ended. Nothing is lost; start it again to go on.", "gone");
    return;
  }
  say("The program has ended. What you said of the frames is still here: ", "gone");
  const link = element("a", { download: "shoot.json", href: URL.createObjectURL(new Blob([kept], { type: "application/json" })) }, "keep it as shoot.json");
  byId("word").append(link, " and put it into the folder with the frames.");
}

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
      await look().catch((fault) => say(fault.message));
    } while (again);
    looking = false;
  };
  const source = new EventSource("/events");
  source.onmessage = () => { unsay("gone"); news(); };
  source.onerror = async () => {
    // The browser tries again by itself; only a program that is gone is worth a word.
    await new Promise((later) => { setTimeout(later, 1500); });
    if (source.readyState !== EventSource.OPEN) fetch("/state").catch(gone);
  };
  addEventListener("pagehide", () => navigator.sendBeacon("/leave"));
  addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
}
