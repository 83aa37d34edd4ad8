/* The kept camera beside the one on the bench: their figures, what differs, and their drawings. */
import { showDrawing } from "../pinpool/svg.js";
import { rows } from "./bench_answer.js";
import { NO_STOPS, area, degrees, fine, percent, sayFNumber, size, stops } from "./words.js";

const section = document.querySelector("#kept");

/** Show `kept` beside `now`, each `{plan, sharpness}`; without a kept one, nothing. */
export function showKept(kept, now) {
  section.hidden = !(kept && now);
  if (section.hidden) return;
  rows(section.querySelector("table"), compared(kept, now));
  for (const place of section.querySelectorAll("[data-drawing]")) {
    showDrawing(place, { kept, now }[place.dataset.of].plan[place.dataset.drawing]);
  }
}

function compared(kept, now) {
  const line = (label, say, differs = () => "") => [label, say(kept), say(now), differs(kept, now)];
  const plane = (each) => each.plan.film_plane;
  const darkest = (each) => each.plan.illumination.darkest_stops;
  const near = (each) => each.plan.illumination.within_one_stop_share;
  const across = (each) => plane(each).field_of_view.horizontal;
  return [
    line("Hole", (each) => fine(each.plan.hole_diameter)),
    line("f-number", (each) => sayFNumber(each.plan.f_number.f_number), (a, b) =>
      moreOrLess(b.plan.f_number.stops_from_f22 - a.plan.f_number.stops_from_f22, "light")),
    line("Focal length", (each) => size(plane(each).distance.mean)),
    line("Negative, laid flat", (each) => area(plane(each).negative), (a, b) =>
      times(surface(plane(b).negative) / surface(plane(a).negative), "the surface")),
    line("Seen across", (each) => degrees(across(each)), (a, b) =>
      widerOrNarrower(Math.round(across(b).value) - Math.round(across(a).value))),
    line("Darkest corner", (each) => stops(darkest(each)), (a, b) =>
      darkest(a) === null || darkest(b) === null ? "" : lighterOrDarker(darkest(b) - darkest(a))),
    line("Within one stop of the axis", (each) => percent(near(each))),
    line("Line pairs, across × down", (each) => pairs(each.sharpness), (a, b) =>
      a.sharpness && b.sharpness ? times(b.sharpness.line_pairs.picture / a.sharpness.line_pairs.picture, "the detail") : ""),
  ];
}

function pairs(sharpness) {
  if (!sharpness) return "…";
  return `${Math.round(sharpness.line_pairs.across)} × ${Math.round(sharpness.line_pairs.down)}`;
}

function surface({ width, height }) {
  return width.value * height.value;
}

function moreOrLess(difference, of) {
  const text = stops(difference);
  return text === NO_STOPS ? `the same ${of}` : `${text.slice(1)} ${difference > 0 ? "more" : "less"} ${of}`;
}

function lighterOrDarker(difference) {
  const text = stops(difference);
  return text === NO_STOPS ? "the same" : `${text.slice(1)} ${difference > 0 ? "lighter" : "darker"}`;
}

function widerOrNarrower(difference) {
  return difference === 0 ? "the same" : `${Math.abs(difference)}° ${difference > 0 ? "wider" : "narrower"}`;
}

function times(ratio, of) {
  return ratio.toFixed(2) === "1.00" ? "the same" : `${ratio.toFixed(2)} times ${of}`;
}
