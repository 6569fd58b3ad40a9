// A plan or photo behind the map: choose it, tap two spots, say what is there.

import { record } from "/assets/events.js";
import { scaled } from "/assets/photos.js";

const job = document.body.dataset.job;
const SVG = "http://www.w3.org/2000/svg";
let photo = null;
let spots = [];

const part = (name, attributes) => {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
};

function say(form, text) {
  form.querySelector("[role=status]").textContent = text;
}

function draw(form) {
  const { width, height, address } = photo;
  const svg = part("svg", { viewBox: `0 0 ${width} ${height}`, role: "img", "aria-label": "The picture, to tap two spots on" });
  svg.append(part("image", { href: address, width, height }));
  const size = Math.max(width, height) / 40;
  for (const [idx, [x, y]] of spots.entries()) {
    svg.append(part("circle", { cx: x, cy: y, r: size, fill: "none", stroke: "#c00000", "stroke-width": size / 4 }));
    svg.append(part("path", { d: `M${x - size} ${y}H${x + size}M${x} ${y - size}V${y + size}`, stroke: "#c00000", "stroke-width": size / 8 }));
    const label = part("text", { x: x + 1.2 * size, y: y - 0.6 * size, "font-size": 2 * size, fill: "#c00000", "font-weight": "bold" });
    label.textContent = String(idx + 1);
    svg.append(label);
  }
  svg.addEventListener("click", (tapped) => {
    const spot = new DOMPoint(tapped.clientX, tapped.clientY).matrixTransform(svg.getScreenCTM().inverse());
    // A third tap begins again.
    if (spots.length === 2) spots = [];
    spots.push([Math.round(spot.x), Math.round(spot.y)]);
    draw(form);
  });
  form.querySelector(".marking").replaceChildren(svg);
  say(form, ["Tap the first spot whose place you know.", "Tap the second one, far from the first.", "Say below what is at 1 and at 2. Tap again to begin anew."][spots.length]);
}

document.addEventListener("change", async (changed) => {
  const form = changed.target.closest("form[data-backdrop]");
  if (!form || changed.target.name !== "picture" || !changed.target.files[0]) return;
  try {
    photo = await scaled(changed.target.files[0]);
    photo.address = URL.createObjectURL(new Blob([photo.bytes], { type: photo.type }));
    spots = [];
    draw(form);
  } catch (error) {
    say(form, error.message);
  }
});

/** What is at a spot: the name of a support or point, or two lengths. */
function placeOf(text) {
  const lengths = text.split(/[;,]/).map((length) => length.trim());
  return lengths.length === 2 ? lengths : text.trim();
}

document.addEventListener("submit", async (submitted) => {
  const form = submitted.target;
  if (!form.matches("[data-backdrop]")) return;
  submitted.preventDefault();
  const places = ["first", "second"].map((name) => form.elements.namedItem(name).value);
  if (!photo || spots.length < 2) return say(form, "Choose a picture and tap two spots on it first.");
  if (places.some((place) => place.trim() === "")) return say(form, "Say what is at 1 and at 2.");
  const marks = spots.map((pixel, idx) => ({ pixel, at: placeOf(places[idx]) }));
  const { hash, width, height } = photo;
  try {
    const saved = await record(job, { did: "backdrop", backdrop: { photo: hash, width, height, marks } }, photo);
    if (saved.answer) location.reload();
    else say(form, "Kept on this phone. It is sent as soon as the computer is in reach.");
  } catch (error) {
    say(form, `It was not kept: ${error.message}. It is still here: try again.`);
  }
});

document.addEventListener("click", async (clicked) => {
  if (!clicked.target.closest("[data-backdrop-away]")) return;
  const saved = await record(job, { did: "backdrop" }).catch(() => null);
  if (saved?.answer) location.reload();
});
