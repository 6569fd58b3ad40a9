// Events: made here, kept here until the log has acknowledged them, and sent.
//
// An event is on this device's disk before anything is called saved. Only the acknowledgement of the
// log, which comes after its own disk has the event, takes it off the list of unsent ones. The list is
// read from the events themselves: there is no counter that could be wrong. Photos are kept and sent in
// the same way, by the hash of their bytes, after the events: a reading does not wait for a photo.

const KEEP_DAYS = 30;

// A computer that sleeps answers nothing at all: then it is out of reach.
const PATIENCE_MS = 20_000;
const news = new EventTarget();
const channel = "BroadcastChannel" in self ? new BroadcastChannel("floorwright") : null;
channel?.addEventListener("message", () => news.dispatchEvent(new Event("changed")));

let opened = null;

function open() {
  opened ??= new Promise((resolve, reject) => {
    const request = indexedDB.open("floorwright", 2);
    request.onupgradeneeded = ({ oldVersion }) => {
      if (oldVersion < 1) {
        request.result.createObjectStore("events", { keyPath: "id" });
        request.result.createObjectStore("device");
      }
      request.result.createObjectStore("photos", { keyPath: "hash" }).createIndex("state", ["state", "at"]);
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
    const running = database.transaction(["events", "device", "photos"], mode, options);
    let result;
    running.oncomplete = () => resolve(result);
    running.onabort = () => reject(running.error ?? new Error("the device did not take it"));
    Promise.resolve(work(...["events", "device", "photos"].map((name) => running.objectStore(name))))
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

/** Makes an event and keeps it, with its photo if it has one; resolves once this device's disk has both. */
export async function make(job, change, photo) {
  const seen = Number(document.body.dataset.tick ?? 0);
  const kept = await transaction("readwrite", async (events, device, photos) => {
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
    if (photo && !(await done(photos.getKey(photo.hash)))) {
      photos.put({ hash: photo.hash, type: photo.type, bytes: photo.bytes, state: "unsent", at: Date.now() });
    }
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

const ofState = (photos, state, until = Infinity) => {
  const range = IDBKeyRange.bound([state, 0], [state, until]);
  return done(photos.index("state").getAllKeys(range));
};

/** The hashes of the photos that the log has not acknowledged. */
export const unsentPhotos = () => transaction("readonly", async (events, device, photos) => [
  ...await ofState(photos, "unsent"), ...await ofState(photos, "refused"),
]);

const photo = (hash) => transaction("readonly", (events, device, photos) => done(photos.get(hash)));

let trouble = "";
/** What the computer said when it last could not take something; empty if it took all. */
export const whyNot = () => trouble;

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
  trouble = "";
  let isOut = false;
  for (const entry of await unsent()) {
    if (entry.state === "refused" || entry.state === "differs") continue;
    let response;
    try {
      response = await fetch(`/events/${entry.id}`, {
        method: "PUT",
        headers: { "content-type": "application/json", "x-floorwright": "1" },
        body: JSON.stringify(entry.event),
        signal: AbortSignal.timeout(PATIENCE_MS),
      });
    } catch {
      isOut = true; // out of reach: all of it stays unsent
      break;
    }
    if (response.ok) {
      answers.set(entry.id, await response.json().catch(() => ({})));
      await settle(entry.id, "kept");
    } else if (response.status === 409) {
      await settle(entry.id, "differs", "another event carries this id");
    } else if (response.status >= 400 && response.status < 500 && ![401, 403, 408, 421, 429].includes(response.status)) {
      await settle(entry.id, "refused", await response.text());
    } else {
      // It cannot take anything now, and says why: a full disk, a device that was sent away.
      trouble = await response.text().catch(() => "");
      isOut = true;
      break;
    }
  }
  if (!isOut) await sendPhotos();
  await tidy();
  return answers;
}

async function sendPhotos() {
  const hashes = await transaction("readonly", (events, device, photos) => ofState(photos, "unsent"));
  for (const hash of hashes) {
    const { type, bytes } = await photo(hash);
    const response = await fetch(`/photos/${hash}`, {
      method: "PUT", headers: { "content-type": type, "x-floorwright": "1" }, body: bytes,
    }).catch(() => null);
    if (!response) return;
    const said = response.ok ? "" : await response.text();
    const isForGood = response.status >= 400 && response.status < 500 && ![401, 403, 408, 421, 429].includes(response.status);
    if (!response.ok && !isForGood) {
      trouble = said;
      return;
    }
    await transaction("readwrite", async (events, device, photos) => {
      const entry = await done(photos.get(hash));
      if (entry) photos.put({ ...entry, state: response.ok ? "kept" : "refused", why: said, at: Date.now() });
    });
  }
}

/** Acknowledged events and photos stay for a month, in case the computer loses them. */
async function tidy() {
  const old = Date.now() - KEEP_DAYS * 86_400_000;
  await transaction("readwrite", async (events, device, photos) => {
    for (const entry of await done(events.getAll())) {
      if (entry.state === "kept" && entry.at < old) events.delete(entry.id);
    }
    for (const hash of await ofState(photos, "kept", old)) photos.delete(hash);
  });
}

/** Calls back whenever what is unsent may have changed. */
export const onChange = (listener) => news.addEventListener("changed", listener);

/** Sends an event that was made, if the log is in reach; resolves with its answer, or with nothing. */
export async function sent(event) {
  let answers = await send();
  // A run that had begun before may not have seen it.
  if (!answers.has(event.id)) answers = await send();
  return answers.get(event.id);
}

/** Makes an event and sends it if the log is in reach: `{ event, answer }`, no answer if it is not. */
export async function record(job, change, photo) {
  const event = await make(job, change, photo);
  return { event, answer: await sent(event) };
}

/** All that is only here, as a file that can be brought in by hand: a line for each event and each photo. */
export async function unsentFile() {
  const lines = (await unsent()).map((entry) => JSON.stringify(entry.event));
  for (const hash of await unsentPhotos()) {
    const { type, bytes } = await photo(hash);
    lines.push(JSON.stringify({ photo: hash, type, base64: base64(new Uint8Array(bytes)) }));
  }
  return new Blob([lines.join("\n") + "\n"], { type: "application/x-ndjson" });
}

export function base64(bytes) {
  let text = "";
  for (let at = 0; at < bytes.length; at += 0x8000) text += String.fromCharCode(...bytes.subarray(at, at + 0x8000));
  return btoa(text);
}

/** Takes in a file that `unsentFile` made on another device; says how many events and photos were new here. */
export async function takeIn(text) {
  const lines = text.split("\n").filter((line) => line.trim() !== "").map((line, idx) => {
    try {
      const made = JSON.parse(line);
      if (made.photo ? typeof made.base64 === "string" : made.id && made.change) return made;
    } catch { /* told below */ }
    throw new Error(`line ${idx + 1} is neither a reading nor a photo: choose a file that "Save to a file" made`);
  });
  const fresh = await transaction("readwrite", async (events, device, photos) => {
    let count = 0;
    for (const made of lines) {
      const [store, key] = made.photo ? [photos, made.photo] : [events, made.id];
      if (await done(store.getKey(key))) continue;
      count += 1;
      if (made.photo) {
        const bytes = Uint8Array.from(atob(made.base64), (letter) => letter.charCodeAt(0)).buffer;
        photos.put({ hash: made.photo, type: made.type, bytes, state: "unsent", at: Date.now() });
      } else {
        events.put({ id: made.id, event: made, state: "unsent" });
      }
    }
    return count;
  });
  tell();
  await send();
  return fresh;
}
