// The keypad and the grid in a job in metres and in one in feet and inches.

import assert from "node:assert/strict";

/** A job in a unit, with its datum at A1, begun as a brought-in job is. */
export async function jobIn(page, base, unit) {
  await page.goto(base());
  const of = crypto.randomUUID();
  await page.evaluate(async ([id, units]) => {
    const { record } = await import("/assets/events.js");
    await record(id, { did: "begin", form: { format: 1, job: { name: `Shed in ${units}`, units }, datum: { zero: "A1" } } });
  }, [of, unit]);
  return `${base()}/jobs/${of}`;
}

const text = (page, selector) => page.textContent(selector);

async function type(page, keys) {
  for (const key of keys) await page.tap(`[data-key="${key}"]`);
}

async function save(page) {
  await page.tap("#save");
  await page.waitForSelector("#answer p[data-sent]");
  return text(page, "#answer");
}

/** Twice the same, the second time blind; then again, too far off. */
async function twice(page, first, second, off, apart) {
  await page.fill("#point", "A1");
  await type(page, first);
  assert.match(await save(page), /Saved/);
  for (const [keys, said] of [[second, /agree/], [off, apart]]) {
    await page.tap("#again");
    await type(page, keys);
    assert.match(await save(page), said);
  }
}

export async function units(browser, { PHONE, watch, base }) {
  const context = await browser.newContext(PHONE);
  const page = await context.newPage();
  const trouble = watch(page);

  const metres = await jobIn(page, base, "m");
  await page.goto(`${metres}/readings`);
  await page.waitForFunction(() => document.getElementById("spelt").textContent !== "");
  await type(page, ["1", "point", "2", "4", "3"]);
  assert.equal(await text(page, "#spelt"), "1 m 24 cm 3 mm");
  await type(page, ["up"]);
  assert.equal(await text(page, "#digits"), "1.244");
  await type(page, ["down", "down"]);
  assert.equal(await text(page, "#digits"), "1.242");
  for (let idx = 0; idx < 5; idx += 1) await type(page, ["back"]);
  await twice(page, ["1", "point", "2", "4", "3"], ["1", "point", "2", "4", "5"], ["1", "point", "2", "5", "5"], /are 10.0 mm apart: read it a third time/);

  const inches = await jobIn(page, base, "ft-in");
  await page.goto(`${inches}/readings`);
  await page.waitForFunction(() => document.getElementById("spelt").textContent !== "");
  await type(page, ["4", "8", "point", "3"]);
  assert.equal(await text(page, "#digits"), "48 3/16");
  await type(page, ["up"]);
  assert.equal(await text(page, "#digits"), "48 4/16");
  await type(page, ["down", "down", "down", "down"]);
  assert.equal(await text(page, "#digits"), "48");
  for (let idx = 0; idx < 2; idx += 1) await type(page, ["back"]);
  await type(page, ["4", "1", "point", "1", "3", "back"]);
  assert.equal(await text(page, "#digits"), "41 1/16");
  for (let idx = 0; idx < 4; idx += 1) await type(page, ["back"]);
  assert.equal(await text(page, "#digits"), "");
  await twice(page, ["4", "8", "point", "3"], ["4", "8", "point", "5"], ["4", "9", "point", "5"], /are 1 in apart: read it a third time/);

  // A grid asks in inches, takes feet and inches, and refuses what is no length.
  await page.goto(`${inches}/site`);
  await page.waitForLoadState("networkidle");
  const grid = page.locator('form[data-make="grid"]');
  assert.equal(await grid.locator("[name=along]").inputValue(), "72");
  await grid.locator("[name=along]").fill("6 paces");
  await grid.locator("button").tap();
  await page.waitForFunction(() => /Not saved: spacing along a row: this is not a length/.test(document.querySelector("main").textContent));
  await grid.locator("[name=along]").fill("6' 0\"");
  await Promise.all([page.waitForEvent("load"), grid.locator("button").tap()]);
  const places = await page.$$eval(".support", (parts) => parts.map((part) => [part.dataset.name, Number(part.dataset.x), Number(part.dataset.y)]));
  // Six feet are 1,828.8 mm.
  assert.deepEqual(places.find(([name]) => name === "B3").slice(1).map((at) => at.toFixed(1)), ["3657.6", "1828.8"]);
  assert.deepEqual(trouble, []);
  await context.close();
}
