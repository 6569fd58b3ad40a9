// A job saved as one file is brought in as it is, packed anew or not, by another computer.

import assert from "node:assert/strict";
import { join } from "node:path";
import { deflateRawSync } from "node:zlib";
import { served } from "./program.mjs";

/** Files as a ZIP archive, packed; `promised` says how large each is told to be. */
function packed(files, promised = (bytes) => bytes.length) {
  const parts = [];
  const list = [];
  let at = 0;
  for (const [name, bytes] of files) {
    const [title, data] = [Buffer.from(name), deflateRawSync(bytes)];
    const common = Buffer.alloc(26);
    common.writeUInt16LE(20, 0);
    common.writeUInt16LE(8, 4);
    common.writeUInt32LE(data.length, 14);
    common.writeUInt32LE(promised(bytes), 18);
    common.writeUInt16LE(title.length, 22);
    parts.push(Buffer.from("PK\x03\x04", "latin1"), common, title, data);
    const rest = Buffer.alloc(14);
    rest.writeUInt32LE(at, 10);
    list.push(Buffer.from("PK\x01\x02", "latin1"), Buffer.from([20, 0]), common, rest, title);
    at += 30 + title.length + data.length;
  }
  const directory = Buffer.concat(list);
  const end = Buffer.alloc(18);
  end.writeUInt16LE(files.length, 4);
  end.writeUInt16LE(files.length, 6);
  end.writeUInt32LE(directory.length, 8);
  end.writeUInt32LE(at, 12);
  return Buffer.concat([...parts, directory, Buffer.from("PK\x05\x06", "latin1"), end]);
}

/** Each archive taken in by a page of a computer; what it said. */
async function takenIn(page, name, buffer) {
  await page.setInputFiles("#take-in-form [name=file]", { name, mimeType: "application/zip", buffer });
  await page.tap("#take-in-form button");
  const line = page.locator("#take-in-form [role=status]");
  await page.waitForFunction(() => /brought in/.test(document.querySelector("#take-in-form [role=status]").textContent));
  const said = await line.textContent();
  await line.evaluate((status) => { status.textContent = ""; });
  return said;
}

export async function carried(browser, program, job, { PHONE, folder }) {
  const whole = Buffer.from(await (await fetch(`${job}/job.zip`)).arrayBuffer());
  const readings = async (of) => (await (await fetch(`${of}/readings`)).text()).match(/<ol id="list"[\s\S]*?<\/ol>|<table[\s\S]*?<\/table>/)?.[0] ?? "";
  const before = await readings(job);
  assert.ok(before.length > 0, "the page lists no readings");
  const id = job.split("/").pop();
  for (const [number, again] of [false, true].entries()) {
    const other = served(program, join(folder, `carried-${number}.floorwright`), 7700 + 20 * number);
    await other.start();
    const context = await browser.newContext(PHONE);
    try {
      const page = await context.newPage();
      await page.goto(`${other.base()}/devices`);
      await page.waitForLoadState("networkidle");
      let archive = whole;
      if (again) {
        // Its own reader takes the archive apart, to be packed anew.
        const apart = await page.evaluate(async (bytes) => {
          const { filesOf } = await import("/assets/archive.js");
          const files = await filesOf(new Blob([Uint8Array.from(bytes)]));
          return Promise.all(files.map(async (file) => [file.name, Array.from(await file.bytes())]));
        }, Array.from(whole));
        const files = apart.map(([name, bytes]) => [name, Buffer.from(bytes)]);
        assert.ok(files.some(([name]) => name.startsWith("photos/")), "the job has no photo to carry");
        archive = packed(files);
        const short = packed(files, (bytes) => Math.min(bytes.length, 10));
        assert.match(await takenIn(page, "short.zip", short), /^Nothing was brought in: .*larger than it says/);
        assert.match(await takenIn(page, "huge.zip", packed(files, () => 0xfffffff0)), /^Nothing was brought in: .*larger than a job is/);
        assert.match(await takenIn(page, "cut.zip", whole.subarray(0, whole.length / 2)), /^Nothing was brought in: .*no ZIP archive/);
        assert.match(await takenIn(page, "other.zip", packed([["a.txt", Buffer.from("a")]])), /no events\.ndjson/);
      }
      assert.match(await takenIn(page, "job.zip", archive), /^[1-9]\d* brought in\. All of it/);
      assert.match(await takenIn(page, "job.zip", archive), /^0 brought in/);
      assert.equal(await readings(`${other.base()}/jobs/${id}`), before, "the readings are the same");
      const notes = await (await fetch(`${other.base()}/jobs/${id}/readings`)).text();
      const photo = notes.match(/\/photos\/[0-9a-f]{64}/)?.[0];
      assert.ok(photo, "no photo stands on the page");
      assert.equal((await fetch(other.base() + photo)).status, 200);
    } finally {
      await context.close();
      await other.kill();
    }
  }
}
