/* The hole page: readings go to the API as they are typed, a scan when it is sent. What the hole is, and what to do with
   it, is the API's word. The readings are kept in the address's query; a picture stays on this device. */
import { Away, Problem, call } from "../pinpool/api.js";
import { showOutline } from "./hole_outline.js";
import { bodyOf, clearFaults, showFaults, stateOf } from "./fields.js";
import { fine, list, percent, sayFNumber } from "./words.js";

/* How long to wait after a keystroke before asking, in ms. */
const PAUSE = 60;

const counted = document.querySelector("#counted");
const scan = document.querySelector("#scan");
const readings = document.querySelector("#readings");
const said = document.querySelector("#said");
const answer = document.querySelector("#answer");
const slots = Object.fromEntries([...answer.querySelectorAll("[data-slot]")].map((each) => [each.dataset.slot, each]));
const bench = slots.bench.href;
const root = document.documentElement;
let waiting = 0;
let asking = new AbortController();

/* ------------------------------------------------------------------------------------------------- rows of readings */

function addReading(way = "holes_across") {
  const row = document.querySelector("#reading").content.cloneNode(true).firstElementChild;
  readings.append(row);
  row.querySelector("[data-way]").value = way;
  row.querySelector("[data-way]").addEventListener("change", () => chooseWay(row));
  row.querySelector("[data-remove]").addEventListener("click", () => remove(row));
  chooseWay(row);
  number();
  return row;
}

function chooseWay(row) {
  const way = row.querySelector("[data-way]").value;
  for (const part of row.querySelectorAll("[data-of]")) {
    part.hidden = part.dataset.of !== way;
    part.querySelector("input").disabled = part.hidden;
  }
}

function remove(row) {
  const next = row.nextElementSibling ?? row.previousElementSibling;
  row.remove();
  number();
  next.querySelector("select").focus();
  soon();
}

/* Names, labels and legends by place; the last row cannot be removed. */
function number() {
  const rows = [...readings.children];
  for (const [k, row] of rows.entries()) {
    row.querySelector("legend").textContent = `Reading ${k + 1}`;
    for (const field of row.querySelectorAll("input, select")) {
      const key = field.dataset.key;
      if (key) field.name = `readings/${k}/${key}`;
      field.id = `reading-${k}-${key ?? "way"}`;
      field.autocomplete = "off";
      field.closest(".field").querySelector("label").htmlFor = field.id;
    }
    row.querySelector("[data-remove]").hidden = rows.length === 1;
  }
}

/* As many rows as the address names, each measured in the way its keys tell. */
function fillFrom(query) {
  const ways = [];
  for (const name of query.keys()) {
    const [, k, key] = /^readings\/(\d{1,2})\/(holes_across|pixels|diameter)$/.exec(name) ?? [];
    if (key) ways[Number(k)] = key;
  }
  for (const way of ways.length ? ways : ["holes_across"]) addReading(way);
  for (const field of counted.elements) if (field.name && query.has(field.name)) field.value = query.get(field.name);
}

/* -------------------------------------------------------------------------------------------------------- asking */

function unit() {
  return root.dataset.lengths;
}

function soon() {
  clearTimeout(waiting);
  waiting = setTimeout(askCounted, PAUSE);
}

async function askCounted() {
  asking.abort();
  asking = new AbortController();
  const { signal } = asking;
  const state = stateOf(counted, unit());
  history.replaceState(null, "", `?${state}`);
  const body = bodyOf(state, counted, unit());
  const rows = [...(body.readings ?? [])];
  body.readings = rows.filter(begun);
  if (!body.readings.length) return;
  try {
    const { data } = await call("POST", `optics/hole-measurement/?lengths=${unit()}`, { body, signal });
    clearFaults(counted);
    show(data, "Counted");
  } catch (fault) {
    if (signal.aborted) return;
    const places = [...rows.keys()].filter((k) => begun(rows[k]));
    for (const error of fault.errors ?? []) {
      error.pointer = error.pointer.replace(/^\/readings\/(\d+)/, (_, k) => `/readings/${places[k]}`);
    }
    refused(fault, said);
  }
}

/* A row in which only a direction is chosen is no reading yet. */
function begun(reading) {
  return reading && Object.keys(reading).some((key) => key !== "direction");
}

async function askScan(event) {
  event.preventDefault();
  const [problem, bar, button] = [".problem", "progress", "button"].map((each) => scan.querySelector(each));
  problem.hidden = true;
  bar.hidden = false;
  button.disabled = true;
  said.textContent = "Sending and measuring the scan.";
  asking.abort();
  const picture = scan.elements.image.files[0];
  try {
    const { data } = await call("POST", `optics/hole-scan/?lengths=${unit()}`, { form: formOf(picture) });
    clearFaults(scan);
    show(data, "From the scan", picture);
  } catch (fault) {
    problem.hidden = false;
    refused(fault, problem);
  } finally {
    bar.hidden = true;
    button.disabled = false;
  }
}

function formOf(picture) {
  const form = new FormData();
  if (picture) form.append("image", picture);
  for (const each of [scan, counted]) {
    for (const [name, text] of stateOf(each, unit())) {
      if (name !== "image" && !name.startsWith("readings/")) form.append(name, text);
    }
  }
  return form;
}

function refused(fault, place) {
  if (!(fault instanceof Problem || fault instanceof Away)) throw fault;
  const left = showFaults(scan, showFaults(counted, fault.errors ?? []));
  const said = fault.errors?.length ? ["See the fields marked."] : [fault.message];
  place.textContent = [...said, ...left.map((error) => error.detail)].join(" ");
  answer.classList.add("stale");
}

/* ------------------------------------------------------------------------------------------------------- showing */

function show(found, source, picture = null) {
  const [verdict, ...reasons] = found.advice;
  slots.source.textContent = source;
  slots.diameter.textContent = `${fine(found.diameter).split(" ")[0]} ± ${fine(found.uncertainty)}`;
  figure("roundness", found.roundness_share ?? null, percent);
  figure("burr", found.burr_share ?? null, percent);
  figure("f_number", found.f_number?.f_number ?? found.f_number ?? null, sayFNumber);
  slots.verdict.textContent = verdict.text;
  list(slots.reasons, reasons.filter((flag) => !flag.code.startsWith("caution")).map((flag) => flag.text));
  part("doubts", found.flags.length);
  list(slots.doubts, found.flags.map((flag) => flag.text));
  part("picture", picture);
  if (picture) showOutline(slots.outline, slots.unshown, found.outline_svg, picture);
  slots.bench.href = `${bench}?${new URLSearchParams({
    "hole/diameter": exactly(found.diameter),
    "hole/uncertainty": exactly(found.uncertainty),
  })}`;
  said.textContent = `${slots.diameter.textContent}. ${verdict.text}`;
  answer.classList.remove("stale");
  answer.hidden = false;
}

/* A length for an address: more digits than the measurement is worth, fewer than a double has. */
function exactly({ value, unit: of }) {
  return `${value.toFixed(6)} ${of}`;
}

function figure(name, value, say) {
  slots[name].parentElement.hidden = value === null;
  if (value !== null) slots[name].textContent = say(value);
}

function part(name, there) {
  answer.querySelector(`[data-part="${name}"]`).hidden = !there;
}

counted.addEventListener("input", soon);
counted.addEventListener("submit", (event) => {
  event.preventDefault();
  askCounted();
});
scan.addEventListener("submit", askScan);
document.querySelector("#add").addEventListener("click", () => addReading().querySelector("select").focus());
root.addEventListener("kept", () => {
  for (const each of document.querySelectorAll("[data-unit]")) each.textContent = unit();
  askCounted();
});

for (const each of document.querySelectorAll("[data-unit]")) each.textContent = unit();
fillFrom(new URLSearchParams(location.search));
await askCounted();
