// Tapping on a map.

const job = document.body.dataset.job;
let before = null;

/** Where on the plan, in millimetres, a tap on a picture was. */
function place(svg, tapped) {
  const spot = new DOMPoint(tapped.clientX, tapped.clientY).matrixTransform(svg.getScreenCTM().inverse());
  const [zx, zy, xx, xy, yx, yy] = svg.dataset.ground.split(" ").map(Number);
  const [dx, dy] = [spot.x - zx, spot.y - zy];
  const turn = xx * yy - xy * yx;
  return { x: 1000 * (dx * yy - dy * yx) / turn, y: 1000 * (xx * dy - xy * dx) / turn };
}

function nearestSupport(at) {
  let nearest = null;
  for (const part of document.querySelectorAll(".support[data-x][data-y]")) {
    const away = Math.hypot(Number(part.dataset.x) - at.x, Number(part.dataset.y) - at.y);
    if (Number.isFinite(away) && (!nearest || away < nearest.away)) nearest = { part, away };
  }
  return nearest?.part;
}

async function askFloor(at) {
  const said = document.getElementById("tapped");
  const numbers = (point, to = "") => `${to}x=${point.x.toFixed(1)}&${to}y=${point.y.toFixed(1)}`;
  const answer = await fetch(`/jobs/${job}/floor/at?${numbers(at)}`).catch(() => null);
  said.textContent = answer?.ok ? await answer.text() : "The computer is out of reach.";
  if (before) {
    const section = await fetch(`/jobs/${job}/floor/section?${numbers(before)}&${numbers(at, "to_")}`).catch(() => null);
    if (section?.ok) {
      const drawn = new DOMParser().parseFromString(await section.text(), "text/html");
      document.getElementById("section").replaceChildren(...drawn.body.childNodes);
    }
  }
  before = before ? null : at;
}

for (const map of document.querySelectorAll("[data-tap]")) {
  const svg = map.querySelector("svg[data-ground]");
  svg?.addEventListener("click", (tapped) => {
    const at = place(svg, tapped);
    if (map.dataset.tap === "floor") return askFloor(at);
    const part = nearestSupport(at);
    if (part) {
      part.open = true;
      part.scrollIntoView({ block: "center" });
      part.querySelector("input")?.focus({ preventScroll: true });
    }
  });
}
