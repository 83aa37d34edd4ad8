// Fields that are sent otherwise than a person types them; each fills in a hidden one of the same form.
//
// data-moment="taken_at": date and time by this clock, sent with its offset from UTC. data-pairs="published/rows": lines
// of pairs, sent as JSON. data-length: a bare number gets the page's unit of lengths once it is typed.

import { withUnit } from "../pinpool/lengths.js"

const two = (number) => String(Math.floor(number)).padStart(2, "0")

/** “2026-05-01T12:00” by this clock, as an instant with its offset: “2026-05-01T12:00:00+01:00”. */
export function instantOf(local) {
  const ahead = -new Date(local).getTimezoneOffset()
  if (!local || Number.isNaN(ahead)) return ""
  const size = Math.abs(ahead)
  return `${local.slice(0, 16)}:00${ahead < 0 ? "-" : "+"}${two(size / 60)}:${two(size % 60)}`
}

/** An instant as a field for date and time shows it, by this clock. */
export function localOf(instant) {
  const at = new Date(instant)
  return new Date(at.getTime() - at.getTimezoneOffset() * 60_000).toISOString().slice(0, 16)
}

const pairsOf = (text) => {
  const lines = text.split("\n").map((line) => line.trim()).filter(Boolean)
  return lines.length ? JSON.stringify(lines.map((line) => line.split(",").map((part) => part.trim()))) : ""
}

function fill(field) {
  const { moment, pairs } = field.dataset
  if (moment) field.form.elements[moment].value = instantOf(field.value)
  if (pairs) field.form.elements[pairs].value = pairsOf(field.value)
}

for (const field of document.querySelectorAll("[data-moment]")) field.value = localOf(field.dataset.instant ?? Date.now())
for (const field of document.querySelectorAll("[data-moment], [data-pairs]")) fill(field)
document.addEventListener("input", (event) => fill(event.target))
document.addEventListener("change", (event) => {
  if ("length" in event.target.dataset) event.target.value = withUnit(event.target.value, document.documentElement.dataset.lengths)
})
