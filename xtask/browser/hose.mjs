// The hose: what it is made of is typed in, its wait is counted down, doorways come and go.

import assert from "node:assert/strict";

export async function hose(browser, { PHONE, watch, base, jobIn }) {
  const context = await browser.newContext(PHONE);
  const page = await context.newPage();
  const trouble = watch(page);
  const job = await jobIn(page, base, "mm");
  await page.evaluate(async (id) => {
    const { record } = await import("/assets/events.js");
    await record(id, { did: "put", thing: { support: { id: "A1", at: [0, 0] } } });
    await record(id, { did: "put", thing: { room: { name: "Hall", outline: [[0, 0], [3600, 0], [3600, 2400], [0, 2400]] } } });
  }, job.split("/").pop());
  const submit = (form) => Promise.all([page.waitForEvent("load"), page.tap(`${form} button[type=submit]`)]);

  await page.goto(`${job}/hose`);
  const before = await page.textContent("h3 >> nth=1");
  await page.fill("[data-make=hose] [name=bore]", "12 mm");
  await page.fill("[data-make=hose] [name=length]", "30 m");
  await page.fill("[data-make=hose] [name=temperature]", "4");
  await submit("[data-make=hose]");
  const after = await page.textContent("h3 >> nth=1");
  assert.match(after, /^Wait \d+ s/);
  assert.notEqual(before, after);
  assert.match(await page.textContent("main"), /12 mm bore, 30 m, on a pail of 200 mm, water at 4 C/);

  await page.tap("summary:has-text('doorway')");
  await page.fill("[data-make=door] [name=x]", "1800");
  await page.fill("[data-make=door] [name=y]", "1200");
  await page.tap("[data-make=door] button");
  await page.waitForFunction(() => /Not saved: .*on no wall/.test(document.querySelector("[data-make=door] [role=status]")?.textContent));
  await page.fill("[data-make=door] [name=y]", "0");
  await submit("[data-make=door]");
  assert.match(await page.textContent("main"), /1 doorway[^s]/);
  await page.tap("summary:has-text('doorway')");
  await submit("[data-make=doors]");
  assert.match(await page.textContent("main"), /0 doorways/);

  // A hose that cannot be is refused with a way out, and what was typed stays.
  await page.tap("summary:has-text('What it is made of')");
  await page.fill("[data-make=hose] [name=bore]", "0 mm");
  await page.tap("[data-make=hose] button[type=submit]");
  await page.waitForFunction(() => /Not saved: .*bore/.test(document.querySelector("[data-make=hose] [role=status]")?.textContent));
  await page.fill("[data-make=hose] [name=bore]", "12 mm");
  await submit("[data-make=hose]");

  await page.goto(`${job}/readings`);
  assert.equal(await page.$("#wait"), null);
  // The standing in use has no instrument yet: it is asked for, and a hose is waited for.
  await submit("[data-put=setup]");
  const seconds = await page.getAttribute("#wait", "data-seconds");
  assert.equal(after.match(/^Wait (\d+) s/)[1], seconds);
  await page.tap("#wait");
  await page.waitForFunction((whole) => /^\d+ s$/.test(document.getElementById("wait").textContent)
    && parseInt(document.getElementById("wait").textContent) < whole, Number(seconds));
  // The end of a short wait.
  await page.evaluate(() => { document.getElementById("wait").dataset.seconds = "1"; });
  await page.tap("#wait");
  await page.waitForFunction(() => /Read now/.test(document.getElementById("wait").textContent));
  assert.deepEqual(trouble, []);
  await context.close();
}
