// Forms that change a job: each makes an event.

import { mint, record } from "/assets/events.js";
import { refresh, whileHeld } from "/assets/app.js";

const job = document.body.dataset.job;

/** Says what became of a form, beside its button. */
function say(form, text) {
  let line = form.querySelector("[role=status]");
  if (!line) {
    line = document.createElement("p");
    line.setAttribute("role", "status");
    form.append(line);
  }
  line.textContent = text;
}

async function change(form, changes, of = job) {
  let last;
  try {
    for (const one of changes) last = await record(of, one);
  } catch (error) {
    say(form, `This device could not store it (${error.message}). It is still written here: try again.`);
    return false;
  }
  if (last && !last.answer) {
    say(form, "Saved on this phone. It is sent as soon as the computer is in reach.");
    return false;
  }
  return true;
}

const value = (form, name) => form.elements.namedItem(name)?.value.trim() ?? "";

/** The thing of a form: what it was, with the fields that were typed; an empty field is left out. */
function thing(form) {
  const made = JSON.parse(form.dataset.form || "{}");
  for (const field of form.querySelectorAll("input[name], select[name]")) {
    const path = field.name.split(".");
    const key = path.pop();
    let place = made;
    for (const part of path) place = place[part] ??= [];
    const text = field.value.trim();
    if (text === "" && !Array.isArray(place)) delete place[key];
    else place[key] = text;
  }
  return made;
}

function today() {
  const now = new Date();
  return [now.getFullYear(), now.getMonth() + 1, now.getDate()].map((part) => String(part).padStart(2, "0")).join("-");
}

/** What a field says, as a number. */
function bare(form, name) {
  const typed = value(form, name);
  const number = Number(typed);
  if (typed !== "" && Number.isFinite(number)) return number;
  const label = form.elements.namedItem(name).closest("label").firstChild.textContent.trim();
  throw new RangeError(`${label}: "${typed}" is no bare number in the unit beside it, such as 12 or 12.5.`);
}

const typed = (form, names) => Object.fromEntries(names.map((name) => [name, value(form, name)]));

/** A thing with the outline of a rectangle, for the computer to draw. */
const withEdges = (form, thing) => ({ rectangle: { thing, typed: typed(form, ["x", "y", "width", "depth"]) } });

/** What a form asks for: changes as they are, or what the computer is to make of it. */
const makers = {
  grid(form) {
    return { grid: typed(form, ["rows", "columns", "along", "between", "x", "y", "first"]) };
  },
  support(form) {
    return { fresh: { support: { id: value(form, "id"), at: [value(form, "x"), value(form, "y")] } } };
  },
  room(form) {
    const room = { name: value(form, "name"), finish: value(form, "finish") };
    if (document.getElementById(`room-${room.name}`)) throw new RangeError(`${room.name} is there already: change it where it is listed.`);
    return withEdges(form, { room });
  },
  "room-edges": (form) => withEdges(form, { room: { ...JSON.parse(form.dataset.form), finish: value(form, "finish") } }),
  "room-finish": (form) => [{ did: "put", thing: { room: { ...JSON.parse(form.dataset.form), finish: value(form, "finish") } } }],
  point(form) {
    return { fresh: { point: { id: value(form, "id"), at: [value(form, "x"), value(form, "y")], kind: value(form, "kind") } } };
  },
  obstacle(form) {
    return withEdges(form, { obstacle: { name: value(form, "name") } });
  },
  benchmark(form) {
    const mark = { did: "put", thing: { benchmark: { point: value(form, "point"), level: value(form, "level") } } };
    const { zero, ...datum } = JSON.parse(form.dataset.datum);
    return zero === undefined ? [mark] : [{ did: "set", block: { datum } }, mark];
  },
  zero: (form) => [calledZero(form, value(form, "zero"))],
  hose(form) {
    const hose = thing(form);
    const take = (name) => {
      const typed = hose[name];
      delete hose[name];
      return typed;
    };
    const list = (name) => (take(name) ?? "").split(/[;,\s]+/).filter((typed) => typed !== "");
    if (hose.temperature !== undefined) hose.temperature = bare(form, "temperature");
    const kind = hose.kind;
    hose.kind = kind === "pail" || kind === "mark" ? "pail" : "twin";
    hose.fixed_mark = kind === "mark";
    hose.one_end = kind === "one-end";
    // Two tubes have no pail, and water has no glycol; a mix has the share that stands in brackets.
    if (hose.kind === "twin") for (const of of ["reservoir", "reservoir_size", "reservoir_area"]) delete hose[of];
    if (hose.reservoir !== undefined) for (const of of ["reservoir_size", "reservoir_area"]) delete hose[of];
    if (!hose.fluid?.endsWith("glycol")) delete hose.glycol;
    else hose.glycol ??= "30 %";
    hose.capped = take("carried") === "closed";
    const legs = [take("leg_near"), take("leg_far")];
    if (legs.every((leg) => leg === undefined)) delete hose.leg_temperatures;
    else hose.leg_temperatures = [bare(form, "leg_near"), bare(form, "leg_far")];
    const [from, to] = [take("reads_from"), take("reads_to")];
    if (from === undefined && to === undefined) delete hose.reads;
    else hose.reads = [from ?? "200 mm", to ?? "1600 mm"];
    hose.test = list("test_first");
    hose.test_swapped = list("test_second");
    return [{ did: "set", block: { hose } }];
  },
  door(form) {
    const door = { at: [value(form, "x"), value(form, "y")] };
    if (value(form, "width")) door.width = value(form, "width");
    return [{ did: "set", block: { doors: [...JSON.parse(form.dataset.form), door] } }];
  },
  doors(form) {
    return [{ did: "set", block: { doors: JSON.parse(form.dataset.form) } }];
  },
  pass(form) {
    const date = today();
    // A bare number is millimetres here, also where the plan is in metres.
    const inMm = (text) => (form.dataset.bare === "m" && /^[-+]?\d+(\.\d+)?$/.test(text) ? `${text} mm` : text);
    const lifted = Array.from(form.querySelectorAll("fieldset"), (part) => {
      const typed = (name) => part.querySelector(`[name=${name}]`).value.trim();
      const packers = typed("packers");
      return {
        support: part.dataset.support,
        lift: inMm(typed("lift")),
        ...(packers ? { packers: packers === "0" ? [] : packers.split("+").map((piece) => inMm(piece.trim())) } : {}),
      };
    }).filter(({ lift }) => lift !== "");
    const pass = { number: Number(form.dataset.number), date, lifted };
    for (const name of ["by", "remarks"]) if (value(form, name)) pass[name] = value(form, name);
    if (value(form, "cracks")) pass.cracks = [value(form, "cracks")];
    const replaced = (form.dataset.replaces ?? "").split(" ").filter((event) => event !== "");
    return [{ did: "pass", pass }, ...replaced.map((event) => ({ did: "undo", event }))];
  },
  goal(form) {
    const goal = JSON.parse(form.dataset.form || "{}");
    const kind = value(form, "kind");
    const level = value(form, "value");
    if (value(form, "kind") === "level" && level === "") throw new RangeError("Level: write the level that the floor is to come to.");
    if (value(form, "kind") === "point" && value(form, "point") === "") throw new RangeError("Point: name a point that was read.");
    goal.height = {
      highest: "highest",
      free: "free",
      level,
      point: { point: value(form, "point"), ...(level ? { offset: level } : {}) },
    }[kind];
    goal.prefer = value(form, "prefer");
    goal.level_tolerance = value(form, "level_tolerance") || undefined;
    return [{ did: "set", block: { goal } }];
  },
};

/** The datum of the job with this point as its zero, or without one. */
function calledZero(part, point) {
  const { zero: before, ...datum } = JSON.parse(part.dataset.datum);
  return { did: "set", block: { datum: point === "" ? datum : { ...datum, zero: point } } };
}

/** How long a form waits for the computer to look at it. */
const LOOK_MS = 10_000;

/** What a form asks for, looked at by the computer with the checks of the job: `{ changes, brings }`. */
async function looked(made) {
  const asked = Array.isArray(made) ? { changes: made } : made;
  const answer = await fetch(`/jobs/${job}/look`, {
    method: "POST", headers: { "content-type": "application/json", "x-floorwright": "1" },
    body: JSON.stringify(asked), signal: AbortSignal.timeout(LOOK_MS),
  }).catch(() => null);
  if (answer?.status === 422) throw new RangeError(await answer.text());
  if (answer?.ok) return answer.json();
  // What needs no reckoning is kept here and sent later.
  if (asked.changes) return { changes: asked.changes, brings: [] };
  if (asked.fresh) return { changes: [{ did: "put", thing: asked.fresh }], brings: [] };
  throw new RangeError("The computer is out of reach, and it has to work this out: try again when it is back.");
}

async function begin(form) {
  const of = mint();
  let made;
  if (form.dataset.begin === "new") {
    const job = Object.fromEntries(["name", "terms", "units"].map((key) => [key, value(form, `job.${key}`)]));
    job.date = today();
    made = { form: { format: 1, job } };
  } else {
    const files = {};
    if (form.dataset.begin === "file") {
      for (const file of form.elements.namedItem("file").files) files[file.name] = await file.text();
    }
    const response = await fetch(form.dataset.begin === "demo" ? "/demo.json" : "/read-job", form.dataset.begin === "demo" ? {} : {
      method: "POST", body: JSON.stringify(files), headers: { "content-type": "application/json", "x-floorwright": "1" },
    }).catch(() => null);
    if (!response) return say(form, "The computer is out of reach: bring the job in when it is back.");
    if (!response.ok) return say(form, await response.text());
    made = await response.json();
  }
  if (await change(form, [{ did: "begin", ...made }], of)) location.href = `/jobs/${of}`;
}

// What a length on a jack or of a packer looks like, for when nobody can be asked.
const LENGTHS = { mm: /^[-+]?\d+(\.\d+)?( ?(mm|cm|m))?$/, "ft-in": /^[-+]?[\d\s.'"/-]+( ?mm)?$/ };

/** Whether a pass is noted as it can be meant: asked of the computer, or looked at here if it is out of reach. */
async function canBeMeant(form, { pass }) {
  const place = form.querySelector(".look");
  const answer = await fetch(`/jobs/${job}/passes/check?pass=${encodeURIComponent(JSON.stringify(pass))}`,
    { signal: AbortSignal.timeout(10_000) }).catch(() => null);
  if (!answer || (answer.status !== 200 && answer.status !== 422)) {
    const odd = pass.lifted.flatMap(({ support, lift, packers = [] }) =>
      [lift, ...packers].filter((text) => !LENGTHS[form.dataset.unit].test(text)).map((text) => `${support}: "${text}"`));
    if (odd.length > 0) throw new RangeError(`Not saved, for this is no length: ${odd.join(", ")}. Write for example 4.5, and the stack as 10 + 5.`);
    return true;
  }
  const told = new DOMParser().parseFromString(await answer.text(), "text/html").body;
  const words = told.textContent.trim();
  place.replaceChildren(...told.childNodes);
  if (words === "" || (answer.ok && place.dataset.seen === words)) return true;
  place.dataset.seen = answer.ok ? words : "";
  form.querySelector("[type=submit]").textContent = answer.ok ? "Save it all the same" : `Pass ${pass.number} is done`;
  return false;
}

async function submit(form) {
  if (form.dataset.begin) return begin(form);
  const made = form.dataset.make
    ? makers[form.dataset.make](form)
    : [{ did: "put", thing: { [form.dataset.put]: thing(form) } }];
  const isPass = form.dataset.make === "pass";
  if (isPass && !await canBeMeant(form, made[0])) return;
  const { changes } = isPass ? { changes: made } : await looked(made);
  if (!await change(form, changes)) return;
  document.activeElement?.blur();
  if (form.dataset.next) location.href = form.dataset.next;
  else location.reload();
}

// What a goal would come to, before it is saved.
const AFTER_MS = 400;
let asked = 0;

async function preview(form) {
  asked += 1;
  const mine = asked;
  await new Promise((later) => setTimeout(later, AFTER_MS));
  if (mine !== asked) return;
  const place = document.getElementById("preview");
  let goal;
  try {
    [{ block: { goal } }] = makers.goal(form);
  } catch (error) {
    return place?.replaceChildren(error.message);
  }
  const answer = await fetch(`/jobs/${job}/lift/preview?goal=${encodeURIComponent(JSON.stringify(goal))}`).catch(() => null);
  if (mine !== asked || !place) return;
  if (!answer) return place.replaceChildren("The computer is out of reach: what this would come to shows when it is back.");
  const told = new DOMParser().parseFromString(await answer.text(), "text/html");
  place.replaceChildren(...told.body.childNodes);
}

document.addEventListener("input", ({ target }) => {
  const form = target.closest("[data-make=goal]");
  if (form) preview(form);
});

document.addEventListener("submit", async (submitted) => {
  const form = submitted.target;
  if (!form.matches("[data-begin], [data-put], [data-make]")) return;
  submitted.preventDefault();
  await whileHeld(form, () => submit(form).catch((error) => {
    if (!(error instanceof RangeError)) throw error;
    say(form, error.message);
  }));
});

/** Asks before something is taken out, and says what it is missed by; it can be brought back afterwards. */
async function askToTakeOut(button) {
  const { kind, name } = button.dataset;
  const remove = { did: "remove", kind, name };
  const { brings } = await looked([remove]);
  const question = document.createElement("div");
  question.className = "warn";
  const line = (text) => question.append(Object.assign(document.createElement("p"), { textContent: text }));
  line(brings.length === 0 ? `Take out ${name}?` : `Take out ${name}? Then this has to be put right:`);
  brings.forEach(line);
  const answer = (text, work) => {
    const choice = Object.assign(document.createElement("button"), { type: "button", textContent: text });
    choice.addEventListener("click", work);
    question.append(choice);
  };
  answer(`Take ${name} out`, async () => {
    question.querySelectorAll("button").forEach((choice) => { choice.disabled = true; });
    if (!await change(question, [remove])) return;
    await refresh();
    document.getElementById("taken-out")?.scrollIntoView({ block: "center" });
  });
  answer("Leave it", () => {
    question.remove();
    button.hidden = false;
  });
  button.hidden = true;
  button.after(question);
}

document.addEventListener("click", async (clicked) => {
  const out = clicked.target.closest("button[data-did=remove]");
  if (out) return askToTakeOut(out).catch((error) => say(out.parentElement, error.message));
  const zero = clicked.target.closest("button[data-zero]");
  if (zero) {
    zero.disabled = true;
    if (await change(zero.parentElement, [calledZero(zero, zero.dataset.zero)])) location.reload();
    return;
  }
  const button = clicked.target.closest("button[data-undo]");
  if (!button) return;
  button.disabled = true;
  if (await change(button.parentElement, [{ did: "undo", event: button.dataset.undo }])) await refresh();
});
