// Letting phones in and sending them away; bringing in what one of them saved to a file.

import { filesOf } from "/assets/archive.js";
import { base64, takeIn, unsent } from "/assets/events.js";
import { sha256 } from "/assets/photos.js";

const said = document.getElementById("said");

const post = (path) => fetch(path, { method: "POST", headers: { "x-floorwright": "1" } }).catch(() => null);

document.getElementById("let-in")?.addEventListener("click", async () => {
  const response = await post("/devices/code");
  if (!response?.ok) {
    said.textContent = response ? await response.text() : "The program is not running.";
    return;
  }
  const shown = new DOMParser().parseFromString(await response.text(), "text/html");
  document.getElementById("code").replaceChildren(...shown.body.childNodes);
});

document.addEventListener("click", async (clicked) => {
  const id = clicked.target.closest("[data-revoke]")?.dataset.revoke;
  if (!id) return;
  const response = await post(`/devices/${id}/revoke`);
  if (response?.ok) location.reload();
  else said.textContent = response ? await response.text() : "The program is not running.";
});

const photoTypes = { jpg: "image/jpeg", jpeg: "image/jpeg", png: "image/png", webp: "image/webp" };

/** A photo as the line that a file of lines has for one. */
const photoLine = async (bytes, type) => JSON.stringify({ photo: await sha256(bytes), type, base64: base64(bytes) });

/** What a job saved as one file has to bring in: its history, then its photos. */
async function linesOfArchive(archive) {
  const files = await filesOf(archive);
  const history = files.find((file) => file.name.split("/").at(-1) === "events.ndjson");
  if (!history) throw new Error("this archive has no events.ndjson: choose one that \"Save all of it as one file\" made");
  const lines = [new TextDecoder().decode(await history.bytes())];
  for (const file of files) {
    const type = photoTypes[file.name.split(".").at(-1).toLowerCase()];
    if (type && file.name.includes("photos/")) lines.push(await photoLine(await file.bytes(), type));
  }
  return lines.join("\n");
}

/** A file of lines as it is; anything else as the lines that such a file would have for it. */
async function lineOf(file) {
  if (file.name.toLowerCase().endsWith(".zip")) return linesOfArchive(file);
  if (!file.type.startsWith("image/")) return file.text();
  return photoLine(new Uint8Array(await file.arrayBuffer()), file.type);
}

document.getElementById("take-in-form").addEventListener("submit", async (submitted) => {
  submitted.preventDefault();
  const form = submitted.target;
  const line = form.querySelector("[role=status]");
  try {
    const lines = await Promise.all(Array.from(form.elements.namedItem("file").files, lineOf));
    const fresh = await takeIn(lines.join("\n"));
    const left = (await unsent()).length;
    line.textContent = `${fresh} brought in. ${left === 0 ? "All of it is in the file of jobs." : `${left} are still waiting here.`}`;
  } catch (error) {
    line.textContent = `Nothing was brought in: ${error.message}.`;
  }
});
