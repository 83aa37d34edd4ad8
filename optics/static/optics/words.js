/* Figures of an answer as people read them. Rounding is for people: nothing is reckoned from these. */
import { sayFNumber } from "./exposure.js";

export { sayFNumber };

/* A figure and its unit stay on one line. */
const NO_BREAK = "\u00a0";
export const NO_STOPS = `0${NO_BREAK}stops`;

/** “61.0 mm” or “2.40 in” of a length as the API gives it. */
export function size(quantity) {
  return `${quantity.value.toFixed(quantity.unit === "in" ? 2 : 1)} ${quantity.unit}`;
}

/** A hole's diameter: “0.305 mm” or “0.0120 in”. */
export function fine(quantity) {
  return `${quantity.value.toFixed(quantity.unit === "in" ? 4 : 3)} ${quantity.unit}`;
}

/** “203.0 × 61.0 mm”. */
export function area({ width, height }) {
  return `${size(width).split(" ")[0]} × ${size(height)}`;
}

/** “+0.7 stop”, “−2.3 stops”, “no light” for null. */
export function stops(value) {
  if (value === null) return "no light";
  const text = Math.abs(value).toFixed(1);
  if (Number(text) === 0) return NO_STOPS;
  return `${value > 0 ? "+" : "−"}${text}${NO_BREAK}${Number(text) <= 1 ? "stop" : "stops"}`;
}

/** “± 0.3 stop”. */
export function eitherWay(value) {
  return `±${NO_BREAK}${stops(Math.abs(value)).replace("+", "")}`;
}

/** A source without the marks that sources carry, as optics/core/say.py says it. */
export function saySource(source) {
  return source.replace(/ \[([^\]]+)\]/g, (_, mark) =>
    mark.startsWith("read") ? "" : ` (${mark.startsWith("memory") ? "from " : ""}${mark})`);
}

export function percent(share) {
  return `${Math.round(100 * share)} %`;
}

export function degrees(angle) {
  return `${Math.round(angle.value)}°`;
}

/** Fill a list with sentences. */
export function list(element, texts) {
  element.replaceChildren(...texts.map((text) => Object.assign(document.createElement("li"), { textContent: text })));
}
