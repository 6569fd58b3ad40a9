// A phone on the network, over plain http: let in by the code, told to keep the page open, without a worker.

import assert from "node:assert/strict";
import { networkInterfaces } from "node:os";
import { join } from "node:path";
import { served } from "./program.mjs";

/** An address of this machine that is not its own loop; nothing where there is no network. */
function onTheNetwork() {
  const all = Object.values(networkInterfaces()).flat();
  return all.find(({ family, internal }) => family === "IPv4" && !internal)?.address;
}

export async function plain(browser, program, { PHONE, folder }) {
  const address = onTheNetwork();
  if (!address) return console.log("no network here: a phone over plain http was not tried");
  const server = served(program, join(folder, "plain.floorwright"), 7780, ["--lan", address]);
  await server.start();
  const context = await browser.newContext(PHONE);
  try {
    const page = await context.newPage();
    await page.goto(server.base());
    assert.equal(await page.locator(".plain-http").count(), 0);
    assert.equal(await page.getAttribute("body", "data-worker"), "yes");
    const [, lan] = await server.said(/Phones on this network: (http:\S+)\. Without/);
    const [, code] = await server.said(/good for ten minutes: (\d{7})/);
    await page.goto(lan);
    assert.match(await page.textContent("main"), /then Phones, and press/);
    await page.fill("#code", code);
    await Promise.all([page.waitForURL(`${lan}/`), page.tap("#pair button")]);
    await page.waitForLoadState("networkidle");
    assert.equal(await page.evaluate(() => isSecureContext), false);
    assert.match(await page.textContent(".plain-http"), /Keep this page open/);
    assert.equal(await page.getAttribute("body", "data-worker"), null);
    await page.goto(`${lan}/devices`);
    assert.match(await page.textContent("main"), /on the computer that runs the program.*Back to the jobs/);
    await page.goto(lan);
    await page.fill('[name="job.name"]', "Seen from a phone");
    await page.waitForLoadState("networkidle");
    await page.tap('form[data-begin="new"] button');
    await page.waitForURL(/\/jobs\/[0-9a-f-]{36}$/);
    // With the notice, too, every key is in view above the tabs.
    await page.goto(`${page.url()}/readings`);
    const { last, end } = await page.evaluate(() => ({
      last: document.getElementById("save").getBoundingClientRect().bottom,
      end: document.querySelector("nav").getBoundingClientRect().top,
    }));
    assert.ok(last <= end, `Save ends at ${last}, under the tabs at ${end}`);
  } finally {
    await context.close();
    await server.kill();
  }
}
