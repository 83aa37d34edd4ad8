/* A form's fields as a request's body and as an address, and a refusal's faults at the fields they are of.

   A field's `name` is the JSON pointer of its value without the first slash; `data-reads-as` says what its text is:
   "length" (a bare number is in the page's unit), "resolution" (in dpi), "number", "text", "points" or "rows" (a pair a
   line), or another kind of quantity, which carries its unit. Steps of digits in a name are places in a list. Fields of a disabled fieldset do not count. */
import { withUnit } from "../pinpool/lengths.js";

/** What is filled in, as name and text, lengths with their unit: the form's state, fit for an address. */
export function stateOf(form, unit) {
  const state = new URLSearchParams();
  for (const field of filled(form)) {
    const text = field.value.trim();
    state.append(field.name, withItsUnit(text, field.dataset.readsAs, unit));
  }
  return state;
}

/** The body that a state stands for. */
export function bodyOf(state, form, unit) {
  const body = {};
  for (const [name, text] of state) {
    const steps = name.split("/");
    const key = steps.pop();
    let at = body;
    for (const [k, step] of steps.entries()) at = at[step] ??= /^\d+$/.test(steps[k + 1] ?? key) ? [] : {};
    at[key] = read(text, readsAs(form, name, state), unit);
  }
  return body;
}

/** Whether every field that must be filled in is. */
export function complete(form) {
  return enabled(form).every((field) => !field.required || field.value.trim());
}

/** Put a refusal's faults at their fields of the form; gives back those that have none. */
export function showFaults(form, errors) {
  clearFaults(form);
  const rest = [];
  for (const error of errors) {
    const field = nearest(form, error.pointer.slice(1));
    if (field) mark(field, error.detail);
    else rest.push(error);
  }
  return rest;
}

export function clearFaults(form) {
  for (const fault of form.querySelectorAll(".fault")) fault.remove();
  for (const field of form.querySelectorAll("[aria-invalid]")) {
    field.removeAttribute("aria-invalid");
    setDescribed(field, described(field).filter((id) => !id.endsWith("-fault")));
  }
}

function enabled(form) {
  return [...form.elements].filter((field) => field.name && !field.matches(":disabled, fieldset, button"));
}

function filled(form) {
  return enabled(form).filter((field) => field.value.trim());
}

function readsAs(form, name, state) {
  const kind = form.querySelector(`[data-kind="${CSS.escape(state.get("film_plane/kind") ?? "")}"]`);
  const field = kind?.querySelector(`[name="${CSS.escape(name)}"]`) ?? form.elements[name];
  return field?.dataset?.readsAs ?? "text";
}

function read(text, kind, unit) {
  if (kind === "number") return /^[+-]?\d+(\.\d+)?$/.test(text) ? Number(text) : text;
  if (kind !== "points" && kind !== "rows") return withItsUnit(text, kind, unit);
  const one = (part) => withItsUnit(part.trim(), kind === "points" ? "length" : kind, unit);
  return text.split("\n").filter((line) => line.trim()).map((line) => line.split(",").map(one));
}

/* A bare length or resolution has the unit put behind it; a length to the left or down too. */
function withItsUnit(text, kind, unit) {
  if (kind === "resolution") return withUnit(text, "dpi");
  if (kind !== "length") return text;
  const [, sign, size] = /^([-−+]?)(.*)$/s.exec(text);
  return sign + withUnit(size, unit);
}

/* The field of a pointer, or of the nearest one above it: a fault in a point of a list is the list's. */
function nearest(form, path) {
  for (let steps = path.split("/"); steps.length; steps = steps.slice(0, -1)) {
    const found = enabled(form).find((field) => field.name === steps.join("/"));
    if (found) return found;
  }
  return enabled(form).find((field) => field.name.startsWith(`${path}/`) && field.required);
}

function mark(field, detail) {
  const id = `${field.id}-fault`;
  field.setAttribute("aria-invalid", "true");
  setDescribed(field, [...described(field), id]);
  const line = Object.assign(document.createElement("p"), { className: "fault", id, textContent: detail });
  field.closest(".field").append(line);
}

function described(field) {
  return (field.getAttribute("aria-describedby") ?? "").split(" ").filter(Boolean);
}

function setDescribed(field, ids) {
  if (ids.length) field.setAttribute("aria-describedby", [...new Set(ids)].join(" "));
  else field.removeAttribute("aria-describedby");
}
