// What a phone says when something is wrong that is not its fault: a full disk, a clock that is off.

import assert from "node:assert/strict";

const waiting = (page) => page.evaluate(async () => (await (await import("/assets/events.js")).unsent()).length);

/** The computer's disk is full: told in its words, kept on the phone, sent once there is room. */
export async function fullDisk(browser, job, { PHONE, read, until }) {
  const context = await browser.newContext({ ...PHONE, serviceWorkers: "block" });
  const page = await context.newPage();
  await page.goto(`${job}/readings`);
  await page.waitForSelector("#digits");
  // The words are those of the program, see the tests of its store.
  const words = "the disk did not take it, for it is full; nothing was acknowledged: make room, and it is sent again";
  await page.route("**/events/*", (route) => (route.request().method() === "PUT" ? route.fulfill({ status: 503, body: words }) : route.continue()));
  await page.fill("#point", "C1");
  assert.match(await read(page, "1247"), /Saved 1247 at C1 on this phone/);
  await until("the words on the page", async () => /1 reading only on this phone.*it is full.*make room/.test(await page.textContent("#outbox")));
  assert.equal(await waiting(page), 1);
  await page.unroute("**/events/*");
  await until("sending it again", async () => (await waiting(page)) === 0, 12_000);
  await until("nothing more to say", () => page.evaluate(() => document.getElementById("outbox").hidden));
  await context.close();
}

/** A store on the phone that takes nothing: told at once, the number stays on the screen, and goes in later. */
export async function fullPhone(browser, job, { PHONE }) {
  const context = await browser.newContext({ ...PHONE, serviceWorkers: "block" });
  const page = await context.newPage();
  await page.goto(`${job}/readings`);
  await page.waitForSelector("#digits");
  await page.evaluate(() => {
    const put = IDBObjectStore.prototype.put;
    IDBObjectStore.prototype.put = () => { throw new DOMException("the quota is used up", "QuotaExceededError"); };
    globalThis.makeRoom = () => { IDBObjectStore.prototype.put = put; };
  });
  await page.fill("#point", "C1");
  for (const digit of "1248") await page.tap(`[data-key="${digit}"]`);
  const before = Date.now();
  await page.tap("#save");
  await page.waitForSelector("#answer .warn");
  assert.ok(Date.now() - before < 1000, "the fault is told within a second");
  assert.match(await page.textContent("#answer"), /could not store it \(the quota is used up\).*still here/);
  assert.equal(await page.textContent("#digits"), "1248");
  await page.evaluate(() => globalThis.makeRoom());
  await page.tap("#save");
  await page.waitForFunction(() => /Saved 1248/.test(document.getElementById("answer").textContent));
  await context.close();
}

/** A reading that only one phone had goes into the file of jobs by way of a file. */
export async function byFile(browser, job, { PHONE, read, until, file, base }) {
  const lost = { id: crypto.randomUUID(), job: job.split("/").pop(), device: crypto.randomUUID(), seq: 1, tick: 9000,
    at: { unix_ms: 1, offset_minutes: 0 }, change: { did: "read", setup: "S1", reading: { point: "B3", reading: "1277" } } };
  const context = await browser.newContext(PHONE);
  const page = await context.newPage();
  await page.goto(`${base()}/devices`);
  await page.waitForLoadState("networkidle");
  const take = async (text) => {
    await page.setInputFiles("#take-in-form [name=file]", { name: "unsent-events.ndjson", mimeType: "application/x-ndjson", buffer: Buffer.from(text) });
    await page.tap("#take-in-form button");
    await page.waitForFunction(() => /brought in/.test(document.querySelector("#take-in-form [role=status]").textContent));
    return page.evaluate(() => { const line = document.querySelector("#take-in-form [role=status]"); const said = line.textContent; line.textContent = ""; return said; });
  };
  assert.match(await take("no such thing\n"), /Nothing was brought in: line 1 is neither/);
  assert.match(await take(`${file.trim()}\n${JSON.stringify(lost)}\n`), /3 brought in\. All of it/);
  assert.match(await take(`${JSON.stringify(lost)}\n`), /^0 brought in/);
  await until("it in the list", async () => (await (await fetch(`${job}/readings`)).text()).includes("<td>1277</td>"));
  await context.close();
}

/** A clock ten years ahead is told, and puts nothing out of order. */
export async function wrongClock(browser, job, { PHONE, read, until }) {
  const context = await browser.newContext({ ...PHONE, serviceWorkers: "block" });
  const page = await context.newPage();
  await page.clock.install({ time: Date.now() + 10 * 365.25 * 86_400_000 });
  await page.goto(`${job}/readings`);
  await page.waitForSelector("#clock");
  assert.match(await page.textContent("#clock"), /10 years ahead of that of the computer/);
  await page.fill("#point", "C1");
  assert.match(await read(page, "1249"), /Saved 1249/);
  await context.close();
  const right = await browser.newContext(PHONE);
  const other = await right.newPage();
  await other.goto(`${job}/readings`);
  await other.waitForSelector("#digits");
  await other.waitForTimeout(300);
  assert.equal(await other.locator("#clock").count(), 0);
  await other.fill("#point", "C1");
  await read(other, "1246");
  // What was read last stands first, whatever the clocks said.
  await until("both in their order", async () => /1246.*1249/s.test(await other.textContent("#list")));
  await right.close();
}
