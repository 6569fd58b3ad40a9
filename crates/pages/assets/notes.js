// Remarks and photos: kept on this device first, like readings.

import { record } from "/assets/events.js";
import { refresh, whileHeld } from "/assets/app.js";
import { scaled } from "/assets/photos.js";

const job = document.body.dataset.job;

function say(form, text) {
  form.querySelector("[role=status]").textContent = text;
}

/** What a form is about: what it says, or the point that is named in it. */
function aboutOf(form) {
  if (form.dataset.about) return JSON.parse(form.dataset.about);
  const point = form.elements.namedItem("point").value.trim();
  return point === "" ? null : { point };
}

async function keep(form) {
  say(form, "Being kept …");
  const text = form.elements.namedItem("text").value.trim();
  const [file] = form.elements.namedItem("photo").files;
  const about = aboutOf(form);
  if (!about) return say(form, "Name the point.");
  if (text === "" && !file) return say(form, "Write what was noticed, or take a photo.");
  const note = { about };
  if (text !== "") note.text = text;
  if (form.elements.namedItem("kind").value === "crack") note.crack = true;
  let saved;
  try {
    const photo = file ? await scaled(file) : undefined;
    if (photo) note.photo = photo.hash;
    saved = await record(job, { did: "note", note }, photo);
  } catch (error) {
    return say(form, `It was not kept: ${error.message}. It is still here: try again.`);
  }
  form.reset();
  say(form, saved.answer ? "Kept." : "Kept on this phone. It is sent as soon as the computer is in reach.");
  document.activeElement?.blur();
  await refresh();
}

document.addEventListener("submit", async (submitted) => {
  const form = submitted.target;
  if (!form.matches("[data-note]")) return;
  submitted.preventDefault();
  await whileHeld(form, () => keep(form));
});

// The point that was read last is the one to be spoken of.
document.addEventListener("toggle", (toggled) => {
  const point = toggled.target.open && toggled.target.querySelector?.("form[data-note] [name=point]");
  if (!point || point.value !== "") return;
  point.value = document.querySelector("#list th")?.textContent ?? document.getElementById("point")?.value ?? "";
}, true);

// A photo that is still on its way from another phone is looked for again, ever more seldom.
let patience = 2000;
document.addEventListener("error", (failed) => {
  const picture = failed.target;
  if (!picture.matches?.(".notes img")) return;
  setTimeout(() => { picture.src = picture.getAttribute("src"); }, patience);
  patience = Math.min(patience * 1.5, 60_000);
}, true);
