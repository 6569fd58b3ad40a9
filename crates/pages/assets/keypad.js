// Taking a reading with one thumb: type, see it in words, save, see how it fits.

import { make, onChange, record, sent, unsent } from "/assets/events.js";
import { refresh } from "/assets/app.js";

const part = document.querySelector(".reading");
const job = document.body.dataset.job;
const point = document.getElementById("point");
const digits = document.getElementById("digits");
const spelt = document.getElementById("spelt");
const answer = document.getElementById("answer");
const why = document.getElementById("why");
const undo = document.getElementById("undo");
const standing = document.getElementById("standing"); // of a twin hose that is read at both ends
const order = JSON.parse(part.dataset.order || "[]");
const unit = part.dataset.unit; // of a bare number: mm, m or in
const isInches = unit === "in";
const draft = `draft-${job}`;
let last = null;
let blind = null;
let isSaving = false;
let strange = null; // a name that is not on the plan, and was asked about
let odd = null; // a reading that the tube does not show, and was asked about
const readHere = new Set(); // the list may come later than the next reading
let waiting = []; // readings that only this phone has, in the order in which they were taken
let sinceMark = Number(sessionStorage.getItem(`since-${job}`) ?? 0);

/** `48 3/16` in sixteenths of an inch. */
function sixteenths(text) {
  const [, whole, over] = /^(\d*)(?:\s*(\d+)\/16)?$/.exec(text.trim()) ?? [];
  return whole === undefined ? NaN : 16 * Number(whole) + Number(over ?? 0);
}

/** What the keypad says, in tenths of a millimetre. */
function tenths(text) {
  if (isInches) return sixteenths(text) * 254 / 16;
  return Number(text) * (unit === "m" ? 10_000 : 10);
}

/** `1243` is 1 m 24 cm 3 mm: said in words, a slip of a digit is seen. */
function inWords(text) {
  if (text === "") return isInches ? "Type the inches" : "Type what the staff says";
  if (isInches) return `${text} inches`;
  const all = Math.round(tenths(text));
  const parts = [[Math.floor(all / 10_000), "m"], [Math.floor((all % 10_000) / 100), "cm"], [Math.floor((all % 100) / 10), "mm"]];
  return parts.map(([count, of]) => `${count} ${of}`).join(" ") + (all % 10 ? ` and ${all % 10} tenths` : "");
}

/** Sixteenths of an inch as they are typed: `48 3/16`. */
function asInches(all) {
  if (all % 16 === 0) return String(all / 16);
  return `${all < 16 ? "" : `${Math.floor(all / 16)} `}${all % 16}/16`;
}

/** How far readings are apart, in the unit that they are typed in. */
function apartInWords(all) {
  return isInches ? `${asInches(Math.round(all * 16 / 254))} in` : `${(all / 10).toFixed(1)} mm`;
}

/** A reading a step further: a millimetre, or a sixteenth of an inch. */
function stepped(text, step) {
  if (isInches) {
    const all = Math.max(0, sixteenths(text) + step);
    return all % 16 === 0 ? String(all / 16) : `${Math.floor(all / 16)} ${all % 16}/16`;
  }
  const all = Math.max(0, Math.round(tenths(text)) + 10 * step);
  return unit === "m" ? (all / 10_000).toFixed(all % 10 ? 4 : 3) : String(all / 10);
}

/** A digit, or one less, in the sixteenths that follow whole inches. */
function overSixteen(whole, over, key) {
  if (key === "back") return over === 0 ? whole : `${whole} ${Math.floor(over / 10)}/16`;
  const longer = 10 * over + Number(key);
  return `${whole} ${longer < 16 ? longer : key}/16`;
}

function show(text) {
  digits.textContent = text;
  spelt.textContent = inWords(text);
  localStorage.setItem(draft, JSON.stringify({ text, point: point.value }));
}

function press(key) {
  // The answer to the reading before has been seen.
  answer.replaceChildren();
  part.querySelector(".heard").scrollTop = 0;
  const text = digits.textContent;
  const [, whole, over] = /^(\d+) (\d+)\/16$/.exec(text) ?? [];
  if (over !== undefined && (/^\d$/.test(key) || key === "back")) return show(overSixteen(whole, Number(over), key));
  if (/^\d$/.test(key)) return show((text + key).slice(0, 9));
  if (key === "back") return show(text.slice(0, -1));
  if (key === "point" && isInches) return show(over === undefined ? `${text || "0"} 0/16` : text);
  if (key === "point" && text !== "" && !text.includes(".")) return show(`${text}.`);
  const step = { up: 1, down: -1 }[key];
  if (step && text !== "" && Number.isFinite(tenths(text))) show(stepped(text, step));
}

part.addEventListener("click", (clicked) => {
  const key = clicked.target.closest("[data-key]")?.dataset.key;
  if (key) press(key);
});
addEventListener("keydown", (pressed) => {
  if (pressed.target.matches("input, select, textarea") || pressed.ctrlKey || pressed.metaKey) return;
  const key = { Backspace: "back", ".": "point", ArrowUp: "up", ArrowDown: "down" }[pressed.key] ?? pressed.key;
  if (key === "Enter" && pressed.target.tagName !== "BUTTON") return save();
  if (/^\d$/.test(key) || ["back", "point", "up", "down"].includes(key)) {
    pressed.preventDefault();
    press(key);
  }
});

function next(after) {
  const mark = part.dataset.benchmark;
  if (mark && sinceMark >= Number(part.dataset.every)) {
    why.textContent = `${sinceMark} readings since the benchmark: read ${mark} again.`;
    return mark;
  }
  why.textContent = "";
  const read = new Set(JSON.parse(document.querySelector("[data-read]")?.dataset.read ?? "[]"));
  for (const point of readHere) read.add(point);
  for (const { setup, reading } of waiting) if (setup === part.dataset.setup) read.add(reading.point);
  read.add(after);
  const from = Math.max(0, order.indexOf(after));
  const left = order.slice(from).concat(order.slice(0, from)).find((name) => !read.has(name));
  if (left !== undefined || !mark || after === mark) return left ?? "";
  why.textContent = `All points are read: close on ${mark}.`;
  return mark;
}

/** The name of the plan that is meant: as typed, or with other capitals. Nothing if there is none such. */
function onPlan(name) {
  const known = JSON.parse(part.dataset.known || "[]");
  if (known.length === 0 || known.includes(name)) return name;
  return known.find((one) => one.toLowerCase() === name.toLowerCase());
}

function say(kind, text) {
  const line = document.createElement("p");
  line.className = kind;
  line.textContent = text;
  answer.append(line);
  return line;
}

/** Nothing of the readings before is seen while one is read again blind. */
function hideForBlind() {
  showUndo();
  const list = document.querySelector("[aria-labelledby=taken]");
  if (list) list.hidden = blind !== null;
}

function showUndo() {
  undo.hidden = !last || blind !== null;
  if (last) undo.textContent = `Undo ${last.change.reading.reading} at ${last.change.reading.point}`;
}

/** The readings that can be read again: those that wait here, then those of the list, each the newest first. */
function taken() {
  const listed = Array.from(document.querySelectorAll("#list tr[data-as]"), (row) => ({ setup: row.dataset.setup, reading: JSON.parse(row.dataset.as) }));
  return [...waiting].reverse().concat(listed).filter(({ setup }) => setup === part.dataset.setup).map(({ reading }) => reading);
}

/** What only this phone has stands on top of the list, and can be taken back as the others can. */
async function listWaiting() {
  const entries = (await unsent()).map(({ event }) => event).filter((event) => event.job === job);
  const undone = new Set(entries.filter(({ change }) => change.did === "undo").map(({ change }) => change.event));
  const kept = entries.filter(({ id, change }) => change.did === "read" && !undone.has(id));
  waiting = kept.map(({ id, change }) => ({ id, ...change }));
  for (const row of document.querySelectorAll("#list tr[data-waits]")) row.remove();
  const rows = waiting.filter(({ id }) => !document.querySelector(`#list tr[data-event="${id}"]`)).reverse().map(waitingRow);
  document.getElementById("list").prepend(...rows);
  return kept;
}

function waitingRow({ id, setup, reading }) {
  const row = document.createElement("tr");
  Object.assign(row.dataset, { setup, waits: "yes" });
  const head = document.createElement("th");
  head.scope = "row";
  const back = document.createElement("button");
  back.type = "button";
  back.dataset.undo = id;
  back.setAttribute("aria-label", `Take back the reading at ${reading.point}`);
  const cells = [head, ...[1, 2, 3].map(() => document.createElement("td"))];
  [head.textContent, cells[1].textContent, cells[2].textContent] = [reading.point, reading.reading, "waits here"];
  back.textContent = "Take back";
  cells[3].append(back);
  row.append(...cells);
  return row;
}

/** What keeps a reading from being one: it is said before anything is saved. */
function cannotBe(reading) {
  const mm = tenths(reading) / 10;
  if (!Number.isFinite(mm)) return `"${reading}" is no reading: type it anew.`;
  if (mm > Number(part.dataset.most)) {
    return `${reading} is beyond the end of the staff, which is ${part.dataset.mostSaid} long. Not saved: put the digits right. If the staff is longer, say so in the job.`;
  }
  const [from, to] = (part.dataset.shows ?? "0 Infinity").split(" ").map(Number);
  if ((mm < from || mm > to) && odd !== reading) {
    odd = reading;
    return `Your hose shows ${part.dataset.showsSaid}, and this is ${reading}. Not saved: put it right, or save again if the tube did show it.`;
  }
  return null;
}

/** Saved is what this phone's disk has: the next reading never waits for the computer. */
async function save() {
  const reading = digits.textContent.replace(/\.$| 0\/16$/, "");
  const typed = point.value.trim();
  answer.replaceChildren();
  if (isSaving) return;
  const at = onPlan(typed) ?? (strange === typed ? typed : "");
  if (at === "" && typed !== "") {
    strange = typed;
    return say("warn", `"${typed}" is not on the plan, and its reading would hold up the floor until it is. Put the name right, or save again if it will be drawn.`);
  }
  if (at === "" || reading === "") return say("warn", at === "" ? "Name the point." : "Type the reading.");
  const fault = cannotBe(reading);
  if (fault) return say("warn", fault);
  const other = standing?.value.trim() ?? "";
  if (standing && other === "") return say("warn", "Write what the standing end shows at the same moment, too.");
  if (blind && blind.point === at) {
    const worth = (of) => tenths(of.reading) - (of.standing ? tenths(of.standing) : 0);
    const apart = Math.abs(worth(blind) - worth({ reading, standing: other }));
    const agrees = apart / 10 <= Number(part.dataset.agree);
    say(agrees ? "ok" : "warn", agrees
      ? `Both readings agree: ${blind.reading} and ${reading}.`
      : `${blind.reading} and ${reading} are ${apartInWords(apart)} apart: read it a third time.`);
    blind = null;
  }
  const now = new Date();
  const time = [now.getHours(), now.getMinutes(), now.getSeconds()].map((n) => String(n).padStart(2, "0")).join(":");
  const both = other === "" ? {} : { standing: other };
  let event;
  isSaving = true;
  try {
    event = await make(job, { did: "read", setup: part.dataset.setup, reading: { point: at, reading, time, ...both } });
  } catch (error) {
    return say("warn", `This device could not store it (${error.message}). The number is still here: try again.`);
  } finally {
    isSaving = false;
  }
  last = event;
  odd = null;
  readHere.add(at);
  showUndo();
  sinceMark = at === part.dataset.benchmark ? 0 : sinceMark + 1;
  sessionStorage.setItem(`since-${job}`, String(sinceMark));
  const line = say("ok", `Saved ${reading} at ${at} on this phone. Its level shows when the computer is in reach.`);
  point.value = next(at);
  show("");
  if (standing) standing.value = "";
  const taken = await sent(event);
  if (taken) line.textContent = `Saved ${reading} at ${at}. ${taken.answer?.level ?? ""}`;
  tellFit(event, taken?.answer, { point: at, time, ...both });
  line.dataset.sent = taken ? "yes" : "no";
  refresh();
}

/** What is odd about a reading, also when the next is being typed already. */
function tellFit(event, fit, as) {
  if (fit?.warning) {
    const line = say("warn", answer.childElementCount === 0 ? `${as.point}: ${fit.warning}` : fit.warning);
    navigator.vibrate?.([80, 60, 80]);
    for (const likely of [...fit.likely ?? []].reverse()) {
      const chip = document.createElement("button");
      chip.type = "button";
      chip.textContent = `Did you mean ${likely}?`;
      chip.addEventListener("click", () => putRight(event, { ...as, reading: likely }));
      line.prepend(chip);
    }
  }
}

async function putRight(event, reading) {
  const saved = await record(job, { did: "amend", event: event.id, reading });
  answer.replaceChildren();
  say("ok", `Put right: ${reading.reading} at ${reading.point}. ${saved.answer?.answer?.level ?? ""}`);
  refresh();
}

document.getElementById("save").addEventListener("click", save);
document.getElementById("again").addEventListener("click", () => {
  answer.replaceChildren();
  // The point that is named, if it was read; otherwise the one that was read last.
  const all = last ? [last.change.reading, ...taken()] : taken();
  const again = all.find((reading) => reading.point === onPlan(point.value.trim())) ?? all[0];
  if (!again) return say("warn", "Nothing was read from this standing yet: read a point first, then again.");
  blind = again;
  point.value = blind.point;
  say("hint", `Read ${blind.point} again without looking at the first number. Move the staff or change reader.`);
  hideForBlind();
  show("");
});
document.addEventListener("refreshed", () => {
  listWaiting();
  if (blind) hideForBlind();
});
onChange(listWaiting);
undo.addEventListener("click", async () => {
  const { id, change: { reading } } = last;
  [last, blind] = [null, null];
  hideForBlind();
  readHere.delete(reading.point);
  point.value = reading.point;
  answer.replaceChildren();
  await record(job, { did: "undo", event: id });
  say("ok", `Taken back: ${reading.reading} at ${reading.point}.`);
  refresh();
});

// The water needs its time: the button counts it down, and says when to read.
const wait = document.getElementById("wait");
let counting = 0;
wait?.addEventListener("click", () => {
  clearInterval(counting);
  const until = Date.now() + 1000 * Number(wait.dataset.seconds);
  const tell = () => {
    const left = Math.ceil((until - Date.now()) / 1000);
    wait.textContent = left > 0 ? `${left} s` : "Read now";
    if (left > 0) return;
    clearInterval(counting);
    navigator.vibrate?.(300);
  };
  counting = setInterval(tell, 250);
  tell();
});

// What waits here was read before this page was opened: it goes on from there.
try {
  const kept = await listWaiting();
  const here = kept.filter(({ change }) => change.setup === part.dataset.setup);
  if (here.length > 0) {
    last = here.at(-1);
    point.value = next(last.change.reading.point);
    showUndo();
  }
} catch { /* the page says that this device stores nothing */ }

// A call, a lock or a closed tab loses no digit.
try {
  const kept = JSON.parse(localStorage.getItem(draft) ?? "null");
  if (kept?.text) {
    point.value = kept.point;
    show(kept.text);
  }
} catch {
  localStorage.removeItem(draft);
}
navigator.wakeLock?.request("screen").catch(() => {});
document.addEventListener("visibilitychange", () => {
  if (!document.hidden) navigator.wakeLock?.request("screen").catch(() => {});
});
