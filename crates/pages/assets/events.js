// Events: made here, kept here until the log has acknowledged them, and sent.
//
// An event is on this device's disk before anything is called saved. Only the acknowledgement of the
// log, which comes after its own disk has the event, takes it off the list of unsent ones. The list is
// read from the events themselves: there is no counter that could be wrong.

const KEEP_DAYS = 30;
const news = new EventTarget();
const channel = "BroadcastChannel" in self ? new BroadcastChannel("floorwright") : null;
channel?.addEventListener("message", () => news.dispatchEvent(new Event("changed")));

let opened = null;

function open() {
  opened ??= new Promise((resolve, reject) => {
    const request = indexedDB.open("floorwright", 1);
    request.onupgradeneeded = () => {
      request.result.createObjectStore("events", { keyPath: "id" });
      request.result.createObjectStore("device");
    };
    request.onsuccess = () => {
      // Some browsers drop the connection when the page was in the background.
      request.result.onclose = () => { opened = null; };
      request.result.onversionchange = () => { request.result.close(); opened = null; };
      resolve(request.result);
    };
    request.onerror = () => { opened = null; reject(request.error); };
    request.onblocked = () => reject(new Error("another page holds the store of this device"));
  });
  return opened;
}

/** Runs `work` in a transaction; resolves with what it returns once the disk has it. */
async function transaction(mode, work) {
  const database = await open();
  return new Promise((resolve, reject) => {
    const options = mode === "readwrite" ? { durability: "strict" } : {};
    const running = database.transaction(["events", "device"], mode, options);
    let result;
    running.oncomplete = () => resolve(result);
    running.onabort = () => reject(running.error ?? new Error("the device did not take it"));
    Promise.resolve(work(running.objectStore("events"), running.objectStore("device")))
      .then((value) => { result = value; }, (error) => { running.abort(); reject(error); });
  });
}

const done = (request) => new Promise((resolve, reject) => {
  request.onsuccess = () => resolve(request.result);
  request.onerror = () => reject(request.error);
});

/** A random id (RFC 9562, version 4); `randomUUID` is missing on plain http. */
export function mint() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

/** Makes an event and keeps it; resolves once this device's disk has it. */
export async function make(job, change) {
  const seen = Number(document.body.dataset.tick ?? 0);
  const kept = await transaction("readwrite", async (events, device) => {
    const own = (await done(device.get("own"))) ?? { id: mint(), seq: 0, tick: 0 };
    own.seq += 1;
    own.tick = Math.max(own.tick, seen) + 1;
    device.put(own, "own");
    const event = {
      id: mint(), job, device: own.id, seq: own.seq, tick: own.tick,
      at: { unix_ms: Date.now(), offset_minutes: -new Date().getTimezoneOffset() },
      elapsed_ms: Math.round(performance.now()),
      change,
    };
    const entry = { id: event.id, event, state: "unsent" };
    events.put(entry);
    return entry;
  });
  tell();
  return kept.event;
}

function tell() {
  news.dispatchEvent(new Event("changed"));
  channel?.postMessage("changed");
}

const all = () => transaction("readonly", (events) => done(events.getAll()));

/** Events that the log has not acknowledged, in the order in which they were made. */
export async function unsent() {
  return (await all()).filter((entry) => entry.state !== "kept")
    .sort((a, b) => a.event.seq - b.event.seq);
}

async function settle(id, state, why) {
  await transaction("readwrite", async (events) => {
    const entry = await done(events.get(id));
    if (entry) events.put({ ...entry, state, why, at: Date.now() });
  });
}

let sending = null;

/** Sends what is unsent; resolves with the answers by event id. One run at a time. */
export function send() {
  sending ??= sendAll().finally(() => { sending = null; tell(); });
  return sending;
}

async function sendAll() {
  const answers = new Map();
  for (const entry of await unsent()) {
    if (entry.state === "refused" || entry.state === "differs") continue;
    let response;
    try {
      response = await fetch(`/events/${entry.id}`, {
        method: "PUT",
        headers: { "content-type": "application/json", "x-floorwright": "1" },
        body: JSON.stringify(entry.event),
      });
    } catch {
      break; // out of reach: all of it stays unsent
    }
    if (response.ok) {
      answers.set(entry.id, await response.json().catch(() => ({})));
      await settle(entry.id, "kept");
    } else if (response.status === 409) {
      await settle(entry.id, "differs", "another event carries this id");
    } else if (response.status >= 400 && response.status < 500 && ![401, 403, 408, 421, 429].includes(response.status)) {
      await settle(entry.id, "refused", await response.text());
    } else {
      break;
    }
  }
  await tidy();
  return answers;
}

/** Acknowledged events stay for a month, in case the computer loses them. */
async function tidy() {
  const old = Date.now() - KEEP_DAYS * 86_400_000;
  await transaction("readwrite", async (events) => {
    for (const entry of await done(events.getAll())) {
      if (entry.state === "kept" && entry.at < old) events.delete(entry.id);
    }
  });
}

/** Calls back whenever what is unsent may have changed. */
export const onChange = (listener) => news.addEventListener("changed", listener);

/** Makes an event and sends it if the log is in reach: `{ event, answer }`, no answer if it is not. */
export async function record(job, change) {
  const event = await make(job, change);
  let answers = await send();
  // A run that had begun before may not have seen it.
  if (!answers.has(event.id)) answers = await send();
  return { event, answer: answers.get(event.id) };
}

/** All events that are only here, as a file that can be brought in by hand. */
export async function unsentFile() {
  const lines = (await unsent()).map((entry) => JSON.stringify(entry.event)).join("\n");
  return new Blob([lines + "\n"], { type: "application/x-ndjson" });
}
