// Kills the server, and the browser, in the middle of work, and counts what was acknowledged or called saved.
//
//   node kills.mjs PROGRAM SERVER-KILLS BROWSER-KILLS

import assert from "node:assert/strict";
import { randomUUID } from "node:crypto";
import { mkdtempSync, readFileSync, readdirSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { chromium } from "playwright-core";
import { served } from "./program.mjs";

const [program, serverKills, browserKills] = [process.argv[2], Number(process.argv[3]), Number(process.argv[4])];
const folder = mkdtempSync(join(tmpdir(), "floorwright-kills-"));
const log = join(folder, "jobs.floorwright");
const { start, kill, base, pid } = served(program, log, 7480);

function heldMb(pid) {
  const line = (name) => new RegExp(`${name}:\\s+(\\d+)`).exec(readFileSync(`/proc/${pid}/status`, "utf8"))[1];
  return { now: line("VmRSS") / 1000, most: line("VmHWM") / 1000 };
}

/** Sends readings one after the other until the server is gone; gives back the acknowledged ones. */
async function send(job) {
  const acknowledged = [];
  for (let seq = 1; ; seq += 1) {
    const event = { id: randomUUID(), job, device: job, seq, tick: seq, at: { unix_ms: 1, offset_minutes: 0 },
      change: { did: "read", setup: "S1", reading: { point: `P${seq}`, reading: String(1500 + seq) } } };
    const response = await fetch(`${base()}/events/${event.id}`, {
      method: "PUT", body: JSON.stringify(event), headers: { origin: base(), "content-type": "application/json", "x-floorwright": "1" },
    }).catch(() => null);
    // An answer counts once its head is here.
    if (!response) return acknowledged;
    assert.equal(response.status, 201);
    acknowledged.push(event.id);
  }
}

async function lost(job, acknowledged) {
  const there = Buffer.from(await (await fetch(`${base()}/jobs/${job}/job.zip`)).arrayBuffer()).toString("latin1");
  return acknowledged.filter((id) => !there.includes(id));
}

async function killServers() {
  const all = [];
  for (let idx = 0; idx < serverKills; idx += 1) {
    const job = randomUUID();
    const sending = send(job);
    await new Promise((resolve) => setTimeout(resolve, 20 + (idx * 7919) % 130));
    await kill();
    const acknowledged = await sending;
    all.push([job, acknowledged]);
    await start();
    if (acknowledged.length > 0) assert.deepEqual(await lost(job, acknowledged), [], `after kill ${idx}`);
  }
  for (const [job, acknowledged] of all) if (acknowledged.length > 0) assert.deepEqual(await lost(job, acknowledged), []);
  const count = all.reduce((sum, [, acknowledged]) => sum + acknowledged.length, 0);
  assert.ok(count > serverKills, "the callers got nowhere");
  const held = heldMb(pid());
  console.log(`server killed ${serverKills} times: 0 of ${count} acknowledged readings lost; with ${all.length} jobs it holds ${held.now.toFixed(0)} MB, at most ${held.most.toFixed(0)} MB`);
}

/** The processes of the browser that we started on this profile. */
function browserOf(profile) {
  return readdirSync("/proc").filter((name) => /^\d+$/.test(name)).filter((pid) => {
    try {
      return readFileSync(`/proc/${pid}/cmdline`, "utf8").split("\0").includes(`--user-data-dir=${profile}`);
    } catch {
      return false;
    }
  }).map(Number);
}

async function killBrowsers() {
  const profile = join(folder, "profile");
  const launch = () => chromium.launchPersistentContext(profile, {
    executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", args: ["--no-sandbox", "--disable-gpu"],
  });
  const job = randomUUID();
  const saved = [];
  for (let idx = 0; idx <= browserKills; idx += 1) {
    const context = await launch();
    const page = await context.newPage();
    await page.goto(`${base()}/`);
    const there = await page.evaluate(async () => {
      const { unsent, send } = await import("/assets/events.js");
      const waiting = (await unsent()).map((entry) => entry.id);
      await send();
      return { waiting, left: (await unsent()).length };
    });
    assert.equal(there.left, 0);
    assert.deepEqual(saved.length === 0 ? [] : await lost(job, saved), [], `after browser kill ${idx}`);
    if (idx === browserKills) {
      await context.close();
      break;
    }
    // Some are acknowledged, then the signal is gone and the rest is only on this device.
    await page.exposeFunction("called", (id) => saved.push(id));
    const work = page.evaluate(async ([of, from]) => {
      const { make, send } = await import("/assets/events.js");
      for (let number = from; ; number += 1) {
        const reading = { point: `P${number}`, reading: String(1000 + number % 900) };
        const event = await make(of, { did: "read", setup: "S1", reading });
        globalThis.called(event.id);
        if (number % 10 < 3) await send();
      }
    }, [job, idx * 100_000]).catch(() => {});
    await new Promise((resolve) => setTimeout(resolve, 250 + (idx * 613) % 300));
    for (const pid of browserOf(profile)) process.kill(pid, "SIGKILL");
    await work;
    await context.close().catch(() => {});
    for (const name of ["SingletonLock", "SingletonSocket", "SingletonCookie"]) rmSync(join(profile, name), { force: true });
  }
  assert.ok(saved.length > browserKills, "the pages got nowhere");
  console.log(`browser killed ${browserKills} times: 0 of ${saved.length} readings that it called saved lost`);
}

try {
  await start();
  await killServers();
  if (browserKills > 0) await killBrowsers();
} finally {
  await kill();
  rmSync(folder, { recursive: true, force: true });
}
