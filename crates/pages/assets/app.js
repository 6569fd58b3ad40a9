// What every page does: its theme, what is unsent, news from others, and the parts that it has.

import { onChange, send, unsent, unsentFile, unsentPhotos, whyNot } from "/assets/events.js";

const job = document.body.dataset.job;

// Light or dark, remembered.
const theme = document.getElementById("theme");
function show(dark) {
  document.documentElement.dataset.theme = dark ? "dark" : "light";
  theme.setAttribute("aria-pressed", String(dark));
}
let dark = localStorage.getItem("dark") ?? String(matchMedia("(prefers-color-scheme: dark)").matches);
show(dark === "true");
theme.addEventListener("click", () => {
  dark = String(dark !== "true");
  localStorage.setItem("dark", dark);
  show(dark === "true");
});

const counted = (number, one, several) => (number === 1 ? `1 ${one}` : `${number} ${several}`);

/** What is unsent, in words: a reading that was taken back is none. */
function whatWaits(entries, photos) {
  const changes = entries.map(({ id, event }) => ({ id, ...event.change }));
  const undone = new Set(changes.filter(({ did }) => did === "undo").map(({ event }) => event));
  const readings = changes.filter(({ id, did }) => did === "read" && !undone.has(id)).length;
  const parts = [[readings, "reading", "readings"], [photos.length, "photo", "photos"], [entries.length - readings, "other entry", "other entries"]];
  return parts.filter(([number]) => number > 0).map((part) => counted(...part)).join(", ");
}

// What is only on this device.
const box = document.getElementById("outbox");
async function count() {
  let entries;
  let photos;
  try {
    entries = await unsent();
    photos = await unsentPhotos();
  } catch (error) {
    box.hidden = false;
    box.textContent = `This device cannot store anything (${error.message}): write readings on paper.`;
    return;
  }
  box.hidden = entries.length + photos.length === 0;
  if (box.hidden) return;
  const refused = entries.filter((entry) => entry.state !== "unsent");
  box.textContent = refused.length > 0
    ? `${refused.length} not taken: ${refused[0].why} `
    : `${whatWaits(entries, photos)} only on this phone. ${whyNot() === ""
      ? "Sent as soon as the computer is in reach." : `The computer says: ${whyNot()}`} `;
  const save = document.createElement("button");
  save.type = "button";
  save.textContent = "Save to a file";
  save.addEventListener("click", async () => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(await unsentFile());
    link.download = "unsent-events.ndjson";
    link.click();
  });
  box.append(save);
}
onChange(count);
count();
setInterval(send, 5000);
addEventListener("online", send);
document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
send();

// A clock that is off puts nothing out of order, but it is better known.
const CLOCKS_ALIKE_S = 120;

function span(seconds) {
  const sizes = [[63_072_000, 31_536_000, "years"], [172_800, 86_400, "days"], [7200, 3600, "h"], [0, 60, "minutes"]];
  const [, size, name] = sizes.find(([from]) => seconds >= from);
  return `${Math.round(seconds / size)} ${name}`;
}

async function compareClocks() {
  // What the worker keeps does not tell the time: it looks after no HEAD.
  const answer = await fetch("/assets/style.css", { method: "HEAD", cache: "no-store" }).catch(() => null);
  const there = Date.parse(answer?.headers.get("date") ?? "");
  if (Number.isNaN(there)) return;
  const ahead = (Date.now() - there) / 1000;
  let line = document.getElementById("clock");
  if (Math.abs(ahead) < CLOCKS_ALIKE_S) return line?.remove();
  if (!line) {
    line = document.createElement("p");
    line.id = "clock";
    line.className = "outbox";
    line.setAttribute("role", "status");
    box.after(line);
  }
  line.textContent = `The clock of this phone is ${span(Math.abs(ahead))} ${ahead > 0 ? "ahead of" : "behind"} that of the computer. `
    + "The order of readings does not go by it; the times beside them do.";
}
compareClocks();
setInterval(compareClocks, 600_000);

/** Does what a form asks for, once, however often it is pressed meanwhile. */
export async function whileHeld(form, work) {
  const button = form.querySelector("[type=submit]");
  button.disabled = true;
  try {
    await work();
  } finally {
    button.disabled = false;
  }
}

/** Puts the page as it is now in place of what is shown, unless someone is writing in it. */
export async function refresh() {
  const response = await fetch(location.href).catch(() => null);
  if (!response?.ok) return false;
  const fresh = new DOMParser().parseFromString(await response.text(), "text/html");
  document.body.dataset.tick = fresh.body.dataset.tick ?? "0";
  const list = document.querySelector("[aria-labelledby=taken]");
  if (list) {
    list.replaceWith(fresh.querySelector("[aria-labelledby=taken]"));
    document.dispatchEvent(new Event("refreshed"));
    return true;
  }
  const main = document.getElementById("main");
  const isWriting = (main.contains(document.activeElement) && document.activeElement.matches("input, select, textarea"))
    || Array.from(main.querySelectorAll("input[type=file]")).some((input) => input.files.length > 0);
  if (isWriting) return false;
  const open = new Set(Array.from(main.querySelectorAll("details[open][id]"), (part) => part.id));
  main.replaceWith(fresh.getElementById("main"));
  for (const id of open) document.getElementById(id)?.setAttribute("open", "");
  return true;
}

// What others did is seen within a moment. A page that nobody looks at holds no line open: a browser has few.
let live = null;

function listen() {
  live?.close();
  live = null;
  if (document.hidden) return;
  live = new EventSource(`/jobs/${job}/live`);
  live.addEventListener("changed", (message) => {
    if (Number(message.data) > Number(document.body.dataset.tick)) refresh();
  });
  live.addEventListener("error", () => sayOutOfReach(true));
  live.addEventListener("open", () => sayOutOfReach(false));
}

/** What stands here may be from before: nobody is to lift by it without knowing. */
function sayOutOfReach(isOut) {
  const line = document.getElementById("out-of-reach");
  if (!isOut) return line?.remove();
  if (line) return;
  const fresh = document.createElement("p");
  fresh.id = "out-of-reach";
  fresh.className = "outbox";
  fresh.setAttribute("role", "status");
  fresh.textContent = "The computer is out of reach: what stands here is from before, and others may have done more since.";
  box.after(fresh);
}

if (job) {
  listen();
  document.addEventListener("visibilitychange", () => {
    listen();
    if (!document.hidden) refresh();
  });
}

if (document.body.dataset.worker && "serviceWorker" in navigator) {
  navigator.serviceWorker.register("/worker.js").catch(() => {});
}

import("/assets/forms.js");
if (job) import("/assets/notes.js");
if (document.querySelector(".keypad")) import("/assets/keypad.js");
if (document.getElementById("take-in-form")) import("/assets/devices.js");
if (document.querySelector("[data-backdrop]")) import("/assets/backdrop.js");
if (document.querySelector("[data-tap]")) import("/assets/map.js");
