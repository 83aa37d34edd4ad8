/* The bench: what is typed goes to the API a moment later, and its answer is shown. The state is the address's query,
   so that a reload, a bookmark or somebody else sees the same box. */
import { Away, Problem, call } from "../pinpool/api.js";
import { showFigures, showLightTable, showParts, showSharpness } from "./bench_answer.js";
import { showKept } from "./bench_compare.js";
import { offerSaving } from "./bench_save.js";
import { bodyOf, clearFaults, complete, showFaults, stateOf } from "./fields.js";
import { sayFNumber, stops } from "./words.js";

/* How long to wait, in ms: between questions while somebody types fast, and after an answer before asking for what takes
   longer. */
const PAUSE = 60;
const SETTLED = 300;
/* The query name that holds the kept camera's own state. */
const KEPT = "kept";

const form = document.querySelector("#box");
const said = document.querySelector("#said");
const answer = document.querySelector("#answer");
const root = document.documentElement;
let waiting = 0;
let typed = -Infinity;
let settling = 0;
let asking = new AbortController();
let now = null;
let kept = null;

function chooseKind(name) {
  const before = form.querySelector("fieldset[data-kind]:enabled");
  for (const fieldset of form.querySelectorAll("fieldset[data-kind]")) {
    fieldset.hidden = fieldset.disabled = fieldset.dataset.kind !== name;
  }
  const after = form.querySelector("fieldset[data-kind]:enabled");
  if (before === after) return;
  for (const field of after.elements) {
    const same = before.elements[field.name];
    if (same && !field.value) field.value = same.value;
  }
}

/* The unit that lengths are read and shown in; the reader changes it in the page's foot. */
function unit() {
  return root.dataset.lengths;
}

/* Fields get what the address says; its names that no field has are left alone. */
function fillFrom(state) {
  const kind = form.elements["film_plane/kind"];
  if ([...kind.options].some((option) => option.value === state.get(kind.name))) kind.value = state.get(kind.name);
  chooseKind(kind.value);
  for (const field of form.elements) {
    if (field.name && field !== kind && !field.matches(":disabled")) field.value = state.get(field.name) ?? "";
  }
  const offset = [...form.querySelectorAll("details input")];
  if (offset.some((field) => field.value)) form.querySelector("details").open = true;
}

function remember(state) {
  const query = new URLSearchParams(state);
  if (kept) query.set(KEPT, kept.state.toString());
  history.replaceState(null, "", `?${query}`);
}

function bodyFrom(state) {
  const body = bodyOf(state, form, unit());
  if (body.hole && !("diameter" in body.hole)) delete body.hole; // a plate alone is no hole yet
  return body;
}

/* A single change is asked about at once, a burst of them when it pauses. */
function soon({ timeStamp }) {
  clearTimeout(waiting);
  waiting = setTimeout(ask, timeStamp - typed < PAUSE ? PAUSE : 0);
  typed = timeStamp;
}

async function ask() {
  const state = stateOf(form, unit());
  asking.abort();
  asking = new AbortController();
  clearTimeout(settling);
  remember(state);
  if (!complete(form)) {
    stale("Fill in the sizes of the box; the answer follows as you type.");
    return;
  }
  const { signal } = asking;
  const body = bodyFrom(state);
  try {
    const plan = await planOf(body, signal);
    clearFaults(form);
    now = { state, body, plan, sharpness: null };
    showFigures(plan);
    answer.classList.remove("stale");
    answer.dispatchEvent(new CustomEvent("shown"));
    requestAnimationFrame(() => setTimeout(() => signal.aborted || showParts(plan)));
    settling = setTimeout(() => settle(now, signal), SETTLED);
  } catch (fault) {
    refused(fault, signal);
  }
}

async function planOf(body, signal) {
  return (await call("POST", `optics/camera-plan/?lengths=${unit()}`, { body, signal })).data;
}

/* What takes longer, or is read only once typing rests. */
async function settle(shown, signal) {
  const { plan, body } = shown;
  said.textContent =
    `${sayFNumber(plan.f_number.f_number)}; darkest corner ${stops(plan.illumination.darkest_stops)}.`;
  showKept(kept, now);
  const hole = { ...body.hole, diameter: plan.hole_diameter };
  const light = { film_plane: body.film_plane, hole, columns: 5, rows: 3 };
  try {
    const [sharpness, table] = await Promise.all([
      sharpnessOf(shown, signal),
      call("POST", "optics/illumination/", { body: light, signal }),
    ]);
    shown.sharpness = sharpness;
    showSharpness(sharpness);
    showLightTable(table.data, unit());
    showKept(kept, now);
  } catch (fault) {
    refused(fault, signal);
  }
}

async function sharpnessOf({ plan, body }, signal) {
  const { film_plane, receptor } = body;
  const hole = { diameter: plan.hole_diameter };
  const distance = plan.film_plane.distance.axis;
  const asked = { film_plane, hole, distance, ...(receptor && { receptor }) };
  return (await call("POST", "optics/sharpness/", { body: asked, signal })).data;
}

function refused(fault, signal) {
  if (signal.aborted) return;
  if (fault instanceof Away) {
    stale("There is no connection; the answer will follow your next change once there is one.");
    return;
  }
  if (!(fault instanceof Problem)) throw fault;
  const rest = showFaults(form, fault.errors).map((error) => error.detail);
  stale(fault.errors.length ? ["This cannot be: see the fields marked.", ...rest].join(" ") : fault.detail);
}

/* The last good answer stays, dimmed, with a word on why. */
function stale(text) {
  said.textContent = text;
  answer.classList.add("stale");
  now = null;
}

form.addEventListener("input", soon);
form.addEventListener("submit", (event) => {
  event.preventDefault();
  ask();
});
form.elements["film_plane/kind"].addEventListener("change", (event) => chooseKind(event.target.value));
document.querySelector("#keep").addEventListener("click", () => {
  if (!now) return;
  kept = now;
  remember(now.state);
  showKept(kept, now);
  document.querySelector("#kept").scrollIntoView({ block: "nearest" });
});
document.querySelector("#drop").addEventListener("click", () => {
  kept = null;
  remember(stateOf(form, unit()));
  showKept(kept, now);
  document.querySelector("#keep").focus();
});
document.querySelector("#back").addEventListener("click", () => {
  fillFrom(kept.state);
  ask();
  form.elements["film_plane/kind"].focus();
});

root.addEventListener("kept", async () => {
  for (const each of document.querySelectorAll("[data-unit]")) each.textContent = unit();
  if (kept) await keepFrom(kept.state);
  await ask();
});

async function begin() {
  for (const each of document.querySelectorAll("[data-unit]")) each.textContent = unit();
  const query = new URLSearchParams(location.search);
  const before = query.get(KEPT);
  query.delete(KEPT);
  fillFrom(query);
  if (before) await keepFrom(new URLSearchParams(before));
  if (complete(form)) await ask();
}

/* A kept camera that the address names is asked for anew; one that cannot be is let go. */
async function keepFrom(state) {
  const body = bodyFrom(state);
  const { signal } = asking;
  try {
    const plan = await planOf(body, signal);
    kept = { state, body, plan, sharpness: await sharpnessOf({ plan, body }, signal) };
  } catch (fault) {
    if (!(fault instanceof Problem || fault instanceof Away)) throw fault;
  }
}

await begin();
await offerSaving(() => now, form);
