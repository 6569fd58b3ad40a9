// What a hand or a computer gets wrong: a name that is not on the plan, a pass noted wrongly, a computer that
// sleeps, a file of jobs that is copied alone.

import assert from "node:assert/strict";
import { copyFileSync } from "node:fs";
import { join } from "node:path";
import { served } from "./program.mjs";

const text = (page, selector) => page.textContent(selector);

/** A floor of six, two of them low, with a bench mark; read once. */
async function small(page, base, units = "mm") {
  await page.goto(base());
  const of = crypto.randomUUID();
  await page.evaluate(async ([id, units]) => {
    const { record } = await import("/assets/events.js");
    const inUnits = (mm) => (units === "m" ? mm / 1000 : mm);
    const support = ["A1", "A2", "A3", "B1", "B2", "B3"]
      .map((name, idx) => ({ id: name, at: [(idx % 3) * 1800, Math.floor(idx / 3) * 1800].map(inUnits) }));
    const readings = [["BM", 1000], ["A1", 1200], ["A2", 1200], ["A3", 1200], ["B1", 1200], ["B2", 1206], ["B3", 1206], ["BM", 1000]]
      .map(([point, reading]) => ({ point, reading: inUnits(reading) }));
    const form = { format: 1, job: { name: "Small house", units }, support, benchmark: [{ point: "BM", level: 0 }], setup: [{ id: "S1", readings }] };
    await record(id, { did: "begin", form });
  }, [of, units]);
  return `${base()}/jobs/${of}`;
}

/** The next reading is typed while the computer answers nothing, and nothing of it is lost. */
async function asleep(page, job, pid) {
  await page.goto(`${job}/readings`);
  await page.waitForFunction(() => document.getElementById("spelt").textContent !== "");
  await page.fill("#point", "A1");
  for (const key of "1201") await page.tap(`[data-key="${key}"]`);
  process.kill(pid, "SIGSTOP");
  try {
    const before = Date.now();
    await page.tap("#save");
    await page.waitForFunction(() => /Saved 1201 at A1 on this phone/.test(document.getElementById("answer").textContent));
    assert.ok(Date.now() - before < 1000, "saved is what this phone has");
    assert.equal(await text(page, "#digits"), "");
    await page.fill("#point", "A2");
    for (const key of "12") await page.tap(`[data-key="${key}"]`);
  } finally {
    process.kill(pid, "SIGCONT");
  }
  await page.waitForFunction(async () => (await (await import("/assets/events.js")).unsent()).length === 0);
  await page.waitForTimeout(500);
  assert.equal(await text(page, "#digits"), "12", "what was being typed stays");
  assert.equal(await page.inputValue("#point"), "A2");
  for (const key of ["back", "back"]) await page.tap(`[data-key="${key}"]`);
}

/** A name in small letters is the one on the plan; another is asked about before it holds up the floor. */
async function names(page) {
  await page.fill("#point", "a2");
  for (const key of "1200") await page.tap(`[data-key="${key}"]`);
  await page.tap("#save");
  await page.waitForSelector("#answer p[data-sent]");
  assert.match(await text(page, "#answer"), /Saved 1200 at A2/);
  await page.fill("#point", "A11");
  for (const key of "1200") await page.tap(`[data-key="${key}"]`);
  await page.tap("#save");
  await page.waitForSelector("#answer .warn");
  assert.match(await text(page, "#answer"), /"A11" is not on the plan/);
  assert.equal(await text(page, "#digits"), "1200", "it is still there");
  for (let idx = 0; idx < 4; idx += 1) await page.tap('[data-key="back"]');
}

/** What was really done is looked at before it is kept, and put right afterwards. */
async function noted(page, job) {
  const lift = '.note [data-support="B2"] [name=lift]';
  const press = (what) => page.tap(`${what} button[type=submit]`);
  await page.goto(`${job}/passes`);
  await page.tap(".pass[open] .note summary");
  const planned = await page.inputValue(lift);
  assert.ok(Math.abs(Number(planned)) > 0, planned);
  await page.fill(lift, "abc");
  await press(".note");
  await page.waitForSelector(".note .look .error");
  assert.match(await text(page, ".note .look"), /Not saved:.*abc/);
  await page.fill(lift, "50");
  await press(".note");
  await page.waitForSelector(".note .look .warn");
  assert.match(await text(page, ".note .look"), /B2 went up by 50.0 mm, and [\d.]+ mm was planned/);
  assert.match(await text(page, ".note button[type=submit]"), /all the same/);
  await Promise.all([page.waitForEvent("load"), press(".note")]);
  assert.match(await text(page, "main"), /Against the plan and its limits/);
  await page.tap("#put-right-1 summary");
  await page.fill('#put-right-1 [data-support="B2"] [name=lift]', planned);
  await Promise.all([page.waitForEvent("load"), press("#put-right-1")]);
  assert.doesNotMatch(await text(page, "main"), /Against the plan and its limits|was noted 2 times/);
}

/** Two phones note one pass: nobody's note goes without a word. */
async function twice(page, job) {
  await page.evaluate(async (of) => {
    const { record } = await import("/assets/events.js");
    await record(of, { did: "pass", pass: { number: 1, lifted: [{ support: "B3", lift: "4" }], by: "the other" } });
  }, job.split("/").pop());
  await page.goto(`${job}/passes`);
  assert.match(await text(page, "#twice-1"), /Pass 1 was noted 2 times.*B3 4 \(by the other\)/);
  await page.tap('#twice-1 li >> nth=1 >> button');
  await page.waitForSelector("#twice-1", { state: "detached" });
}

/** A mark that was a slip is taken out again. */
async function marks(page, job) {
  await page.goto(`${job}/site`);
  await page.fill('form[data-put="benchmark"] [name=point]', "A1");
  await Promise.all([page.waitForEvent("load"), page.tap('form[data-put="benchmark"] button')]);
  await page.tap('button[data-kind="benchmark"][data-name="A1"]');
  await page.waitForSelector('button[data-kind="benchmark"][data-name="A1"]', { state: "detached" });
}

/** A point in the middle of the floor is drawn, and may be read from then on. */
async function points(page, job) {
  await page.goto(`${job}/site`);
  await page.tap("text=Add a point that is over no");
  const form = 'form[data-make="point"]';
  for (const [name, typed] of [["id", "M1"], ["x", "900"], ["y", "900"]]) await page.fill(`${form} [name=${name}]`, typed);
  await Promise.all([page.waitForEvent("load"), page.tap(`${form} button`)]);
  assert.match(await text(page, "main"), /M1/);
  await page.goto(`${job}/readings`);
  assert.ok(JSON.parse(await page.getAttribute(".reading", "data-known")).includes("M1"));
}

export async function slips(browser, { PHONE, watch, base, pid }) {
  const context = await browser.newContext(PHONE);
  const page = await context.newPage();
  const trouble = watch(page);
  const job = await small(page, base);
  await asleep(page, job, pid());
  await names(page);
  await noted(page, job);
  await twice(page, job);
  await marks(page, job);
  await points(page, job);
  // Lifts and packers are millimetres in a job in metres, too.
  await noted(page, await small(page, base, "m"));
  assert.deepEqual(trouble, []);
  await context.close();
}

/** Stopped with a browser still looking on, the one file holds everything, and is a copy by itself. */
export async function wholeFile(browser, program, { folder, PHONE }) {
  for (const signal of ["SIGINT", "SIGTERM", "SIGHUP"]) {
    const log = join(folder, `whole-${signal}.floorwright`);
    const first = served(program, log, 7500);
    await first.start();
    const context = await browser.newContext(PHONE);
    const page = await context.newPage();
    await page.goto(await small(page, first.base));
    await first.kill(signal);
    await context.close();
    const copy = join(folder, `copy-${signal}.floorwright`);
    copyFileSync(log, copy);
    const second = served(program, copy, 7600);
    await second.start();
    try {
      assert.match(await (await fetch(second.base())).text(), /Small house/, signal);
    } finally {
      await second.kill();
    }
  }
}
