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
  const form = 'form[data-make="benchmark"]';
  await page.fill(`${form} [name=point]`, "A1");
  await page.fill(`${form} [name=level]`, "banana");
  await page.tap(`${form} button`);
  await page.waitForFunction((of) => /Not saved: benchmark A1: level cannot be read.*banana/.test(document.querySelector(`${of} [role=status]`)?.textContent), form);
  await page.fill(`${form} [name=level]`, "0");
  await Promise.all([page.waitForEvent("load"), page.tap(`${form} button`)]);
  await page.tap('button[data-kind="benchmark"][data-name="A1"]');
  await page.tap("text=Take A1 out");
  await page.waitForSelector('button[data-kind="benchmark"][data-name="A1"]', { state: "detached" });
}

/** A support is taken out only after a question, which says what misses it, and comes back with one tap. */
async function takenOut(page, job) {
  await page.goto(`${job}/site`);
  await page.waitForLoadState("networkidle");
  await page.tap("#support-B2 summary");
  await page.tap("#support-B2 [data-did=remove]");
  await page.waitForSelector("text=Take B2 out");
  assert.match(await text(page, "#support-B2 .warn"), /reading of B2: point B2 is not in the job/);
  await page.tap("text=Leave it");
  await page.tap("#support-B2 [data-did=remove]");
  await page.tap("text=Take B2 out");
  await page.waitForSelector("#support-B2", { state: "detached" });
  await page.tap("text=Bring B2 back");
  await page.waitForSelector("#support-B2");
  assert.doesNotMatch(await text(page, "#taken-out"), /B2/);
}

/** A wing of the house: a second grid goes on with the names, one that falls on the first is refused; one more support. */
async function wings(page, job) {
  const names = () => page.$$eval(".support", (parts) => parts.map((part) => part.dataset.name));
  const submit = (form) => Promise.all([page.waitForEvent("load"), page.tap(`${form} button`)]);
  const refused = async (form, why) => {
    await page.tap(`${form} button`);
    await page.waitForFunction(([of, words]) => document.querySelector(`${of} [role=status]`)?.textContent.includes(words), [form, why]);
  };
  await page.goto(`${job}/site`);
  await page.waitForLoadState("networkidle");
  const before = await names();
  const grid = 'form[data-make="grid"]';
  await page.tap("summary:has-text('Add another grid')");
  assert.equal(await page.inputValue(`${grid} [name=first]`), "C");
  await refused(grid, "it stands on the place of support A1");
  await page.fill(`${grid} [name=columns]`, "0");
  await refused(grid, "a whole number from 1 to 60");
  for (const [name, typed] of [["rows", "1"], ["columns", "2"], ["x", "5400"]]) await page.fill(`${grid} [name=${name}]`, typed);
  await submit(grid);
  assert.deepEqual(await names(), [...before, "C1", "C2"]);
  const one = 'form[data-make="support"]';
  await page.tap("summary:has-text('Add one')");
  for (const [name, typed] of [["id", "A1"], ["x", "7200"], ["y", "1800"]]) await page.fill(`${one} [name=${name}]`, typed);
  await refused(one, "A1 is there already");
  await page.fill(`${one} [name=id]`, "porch");
  await submit(one);
  assert.deepEqual(await names(), [...before, "C1", "C2", "porch"]);
}

/** A point in the middle of the floor is drawn, and may be read from then on. */
async function points(page, job) {
  await page.goto(`${job}/site`);
  await page.tap("#points > summary");
  const form = 'form[data-make="point"]';
  for (const [name, typed] of [["id", "M1"], ["x", "900"], ["y", "900"]]) await page.fill(`${form} [name=${name}]`, typed);
  await Promise.all([page.waitForEvent("load"), page.tap(`${form} button`)]);
  // It can be put right afterwards, and not out of the world.
  await page.tap("#points > summary");
  await page.tap("#point-M1 > summary");
  await page.fill("#point-M1 [name='at.0']", "-5e9");
  await page.tap("#point-M1 [type=submit]");
  await page.waitForFunction(() => /Not saved: point M1: at/.test(document.querySelector("#point-M1 [role=status]")?.textContent));
  await page.fill("#point-M1 [name='at.0']", "1000");
  await Promise.all([page.waitForEvent("load"), page.tap("#point-M1 [type=submit]")]);
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
  await takenOut(page, job);
  await wings(page, job);
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
