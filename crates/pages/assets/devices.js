// Letting phones in and sending them away; bringing in what one of them saved to a file.

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

/** A file of lines as it is; a photo as the line that such a file has for one. */
async function lineOf(file) {
  if (!file.type.startsWith("image/")) return file.text();
  const bytes = new Uint8Array(await file.arrayBuffer());
  return JSON.stringify({ photo: await sha256(bytes), type: file.type, base64: base64(bytes) });
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
