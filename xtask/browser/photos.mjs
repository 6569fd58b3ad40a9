// Photos and remarks on a phone: made small, without the place, kept without signal, sent once.

import assert from "node:assert/strict";
import { join } from "node:path";

/** A picture of 4,000 x 3,000 pixels with a place written into its header, as a phone's camera does. */
async function cameraPhoto(page, hue) {
  const base64 = await page.evaluate(async (colour) => {
    const canvas = new OffscreenCanvas(4000, 3000);
    const drawing = canvas.getContext("2d");
    drawing.fillStyle = `hsl(${colour} 80% 50%)`;
    drawing.fillRect(0, 0, 4000, 3000);
    drawing.fillStyle = "#fff";
    for (let idx = 0; idx < 400; idx += 1) drawing.fillRect((idx * 977) % 4000, (idx * 613) % 3000, 60, 9);
    const bytes = new Uint8Array(await (await canvas.convertToBlob({ type: "image/jpeg", quality: 0.9 })).arrayBuffer());
    return btoa(Array.from(bytes, (byte) => String.fromCharCode(byte)).join(""));
  }, hue);
  const picture = Buffer.from(base64, "base64");
  const place = Buffer.from("Exif\0\0GPS 41.2924 S 174.7787 E", "latin1");
  const length = Buffer.from([0xff, 0xe1, 0, place.length + 2]);
  return Buffer.concat([picture.subarray(0, 2), length, place, picture.subarray(2)]);
}

async function note(page, point, text, buffer) {
  const form = page.locator("form[data-note]:not([data-about])");
  await page.locator("details:has(> form[data-note]:not([data-about])) > summary").tap();
  await form.locator("[name=point]").fill(point);
  await form.locator("[name=text]").fill(text);
  if (buffer) await form.locator("[name=photo]").setInputFiles({ name: "IMG_1.jpg", mimeType: "image/jpeg", buffer });
  await form.locator("button[type=submit]").tap();
  await page.waitForFunction(() => /^(Kept|It was not)/.test(document.querySelector("form[data-note]:not([data-about]) [role=status]").textContent));
  const said = await form.locator("[role=status]").textContent();
  await page.locator("details:has(> form[data-note]:not([data-about])) > summary").tap();
  return said;
}

/** The hash in our own script against values of FIPS 180-2, appendix B, and the browser's own. */
async function hashes(page) {
  const found = await page.evaluate(async () => {
    const { sha256Here } = await import("/assets/photos.js");
    const hex = (bytes) => Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
    const of = (text) => hex(sha256Here(new TextEncoder().encode(text)));
    const differing = [];
    for (let length = 0; length < 200; length += 1) {
      const bytes = Uint8Array.from({ length }, (_, idx) => (idx * 73 + length) % 256);
      const own = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
      if (hex(own) !== hex(sha256Here(bytes))) differing.push(length);
    }
    return { abc: of("abc"), long: of("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"), million: of("a".repeat(1e6)), differing };
  });
  assert.deepEqual(found, {
    abc: "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
    long: "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
    million: "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0",
    differing: [],
  });
}

const waiting = (page) => page.evaluate(async () => {
  const { unsent, unsentPhotos } = await import("/assets/events.js");
  return [(await unsent()).length, (await unsentPhotos()).length];
});

export async function photos(job, { folder, launch, watch, until, kill, start, shot }) {
  const profile = join(folder, "photos");
  let context = await launch(profile);
  let page = await context.newPage();
  const trouble = watch(page);
  const sent = [];
  page.on("request", (request) => { if (request.method() === "PUT" && request.url().includes("/photos/")) sent.push(request.url()); });
  await page.goto(`${job}/readings`);
  await page.waitForFunction(() => navigator.serviceWorker.controller !== null);
  await page.reload();
  await hashes(page);
  const photo = await cameraPhoto(page, 20);
  assert.equal(await note(page, "A2", "gap over the bearer", photo), "Kept.");
  // The page may be put anew at any moment: whichever picture is there is scrolled to.
  await until("the photo on the page", () => page.evaluate(() => {
    const picture = document.querySelector(".notes img");
    picture?.scrollIntoView();
    return picture?.naturalWidth === 1600;
  }));
  await shot(page, "readings-photo");
  const kept = await page.evaluate(async () => {
    const response = await fetch(document.querySelector(".notes img").src);
    return { type: response.headers.get("content-type"), bytes: Array.from(new Uint8Array(await response.arrayBuffer())) };
  });
  assert.equal(kept.type, "image/jpeg");
  assert.ok(!Buffer.from(kept.bytes).includes("GPS"), "the place went along");
  assert.ok(kept.bytes.length < 1_500_000, `${kept.bytes.length} bytes`);
  // The same photo with another remark is not sent again.
  assert.equal(await note(page, "A3", "the same gap", photo), "Kept.");
  assert.equal(sent.length, 1, "the same photo was sent twice");
  assert.match(await note(page, "A3", "", Buffer.from("<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script>")), /is no picture/);
  await page.reload();

  await kill();
  assert.match(await note(page, "B2", "sticks", await cameraPhoto(page, 200)), /on this phone/);
  assert.deepEqual(await waiting(page), [1, 1]);
  assert.match(await page.textContent("#outbox"), /1 photo, 1 other entry only on this phone/);
  const file = await page.evaluate(async () => (await (await import("/assets/events.js")).unsentFile()).text());
  assert.equal(file.trim().split("\n").length, 2);
  assert.deepEqual(trouble, []);
  await context.browser()?.close();
  await context.close();
  context = await launch(profile);
  page = await context.newPage();
  await page.goto(`${job}/readings`);
  assert.deepEqual(await waiting(page), [1, 1]);
  await start();
  await until("sending the photo that waited", async () => (await waiting(page)).join() === "0,0", 15_000);
  await page.reload();
  await page.evaluate(() => document.querySelector(".notes img")?.scrollIntoView());
  await until("the photo that waited", () => page.evaluate(() => {
    const shown = document.querySelector(".notes li img");
    return document.querySelector(".notes li").textContent.includes("sticks") && shown.naturalWidth === 1600;
  }));
  await context.close();
  return file;
}

/** A plan put behind the map by two taps, and still there on the next phone. */
export async function behindTheMap(browser, job, { PHONE, watch, shot }) {
  const context = await browser.newContext(PHONE);
  const page = await context.newPage();
  const trouble = watch(page);
  await page.goto(`${job}/site`);
  await page.tap("summary:has-text('A plan or photo behind the map')");
  await page.setInputFiles("form[data-backdrop] [name=picture]", { name: "plan.jpg", mimeType: "image/jpeg", buffer: await cameraPhoto(page, 120) });
  await page.waitForSelector(".marking svg");
  await page.locator(".marking svg").scrollIntoViewIfNeeded();
  const { width, height } = await page.locator(".marking svg").boundingBox();
  for (const [right, down] of [[0.2, 0.8], [0.8, 0.8]]) await page.locator(".marking svg").tap({ position: { x: right * width, y: down * height } });
  assert.match(await page.textContent("form[data-backdrop] [role=status]"), /Say below/);
  await page.fill("form[data-backdrop] [name=first]", "A1");
  await page.fill("form[data-backdrop] [name=second]", "5400, 0");
  await Promise.all([page.waitForEvent("load"), page.tap("form[data-backdrop] button[type=submit]")]);
  const shown = await page.evaluate(async () => {
    const picture = document.querySelector("svg.backdrop image");
    return { ok: (await fetch(picture.getAttribute("href"))).ok, width: picture.getBoundingClientRect().width };
  });
  assert.ok(shown.ok && shown.width > 100, JSON.stringify(shown));
  // 960 of 1,600 pixels are 5.4 m.
  assert.match(await page.textContent("main"), /a pixel of it is 5\.6 mm/);
  await page.waitForTimeout(300);
  await shot(page, "site-backdrop");
  await page.waitForTimeout(500); // what was saved comes back as news
  await page.tap("summary:has-text('A plan or photo behind the map')");
  await Promise.all([page.waitForEvent("load"), page.tap("[data-backdrop-away]")]);
  assert.equal(await page.locator("svg.backdrop").count(), 0);
  assert.deepEqual(trouble, []);
  await context.close();
}
