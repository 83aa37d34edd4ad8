/* A plan's answer put into the page's slots. Nothing is reckoned here: every figure is the API's. */
import { showDrawing } from "../pinpool/svg.js";
import { area, degrees, eitherWay, fine, list, percent, sayFNumber, saySource, size, stops } from "./words.js";

const answer = document.querySelector("#answer");
const slots = Object.fromEntries([...answer.querySelectorAll("[data-slot]")].map((each) => [each.dataset.slot, each]));

/** Every table and drawing of `camera-plan`: they follow the figures a frame later, which need not wait for them. */
export function showParts(plan) {
  list(slots.advice, plan.advice.map((flag) => flag.text));
  showDrawing(slots.section, plan.svg);
  showDrawing(slots.light_map, plan.light_svg);
  light(plan.illumination);
  holes(plan.hole);
  opening(plan);
  cuts(plan.sheet_cuts);
  part("times", plan.exposure_table.length);
  rows(slots.times, plan.exposure_table.map((row) => [row.ev100, row.exposure_time.text]));
  arrangements(plan.comparison);
}

/** The curve and the sentence of `sharpness`. */
export function showSharpness(found) {
  const { across, down } = found.line_pairs;
  slots.sharpness.textContent =
    `The film holds about ${Math.round(across)} line pairs across and ${Math.round(down)} down. In its middle, detail ` +
    `finer than ${found.mtf10.toFixed(1)} cycles per mm is gone.`;
  showDrawing(slots.sharpness_plot, found.svg);
  slots.sharpness_note.textContent = found.approximation;
  const { frequency, contrast } = found.mtf;
  const every = Math.ceil(frequency.length / 12);
  const shown = frequency.map((each, k) => [each.toFixed(1), contrast[k].toFixed(2)]);
  rows(slots.contrast, shown.filter((_, k) => k % every === 0));
}

/** The map's figures at marked points, from `illumination` with few columns and rows. */
export function showLightTable({ x, y, stops: levels }, unit) {
  const along = (mm) => `${mm > 0 ? "+" : mm < 0 ? "−" : ""}${Math.abs(unit === "in" ? mm / 25.4 : mm).toFixed(1)}`;
  head(slots.light_table, [`Up from the middle, ${unit}`, ...x.map(along)]);
  const upright = y.map((up, k) => [along(up), ...levels[k].map((level) => (level === null ? "dark" : stops(level)))]);
  rows(slots.light_table, upright.reverse());
}

/** The figures of `camera-plan` that a person looks at first. */
export function showFigures(plan) {
  const { f_number: number, film_plane: plane, illumination } = plan;
  const spread = number.f_number_uncertainty ? ` ${eitherWay(number.uncertainty_stops)}` : "";
  const given = plan.hole_diameter.value !== plan.hole.chosen.diameter.value;
  slots.f_number.textContent = sayFNumber(number.f_number);
  slots.f_number_note.textContent = `f-number${spread}; ${stops(number.stops_from_f22)} against f/22`;
  slots.hole.textContent = fine(plan.hole_diameter);
  slots.hole_note.textContent = given ? `hole; the rule asks for ${fine(plan.hole.chosen.diameter)}` : "hole, by the rule";
  slots.focal_length.textContent = size(plane.distance.mean);
  slots.negative.textContent = area(plane.negative);
  slots.view.textContent = degrees(plane.field_of_view.horizontal);
  slots.darkest.textContent = stops(illumination.darkest_stops);
  answer.hidden = false;
}

function light({ balanced, by_used_share: balances, within_one_stop_share: near }) {
  const even = balanced
    ? `Expose as for ${sayFNumber(balanced.f_number)}, and no point is further off than ` +
      `${balanced.error_stops.toFixed(1)} stop either way. `
    : "Part of the film gets no light, so no one exposure suits all of it. ";
  slots.evenness.textContent = `${even}${percent(near)} of the film lies within one stop of the axis.`;
  const shown = balances.map((each) => [
    percent(each.used_share),
    sayFNumber(each.f_number),
    eitherWay(each.error_stops),
    percent(each.within_one_stop_share),
  ]);
  rows(slots.balances, shown);
}

function holes({ rules, chosen, nearest_drill: drill }) {
  rows(slots.rules, rules.map((each) => [
    labelOf(each.rule), fine(each.diameter), sayFNumber(each.f_number), saySource(each.source),
  ]));
  slots.drill.textContent =
    `The rule “${labelOf(chosen.rule)}” asks for ${fine(chosen.diameter)}. The nearest number drill is No. ` +
    `${drill.number}, ${fine(drill.diameter)}.`;
}

/* A rule as the box's form offers it. */
function labelOf(rule) {
  return [...document.querySelectorAll("#rule option")].find((each) => each.dataset.rule === rule)?.label ?? rule;
}

function opening({ wall_opening: found, wall_opening_used_share: share }) {
  part("opening", found);
  if (!found) return;
  slots.opening.textContent = area(found);
  const clears = share === 1 ? "all of the film" : `the middle ${percent(share)} of the film`;
  slots.opening_note.textContent = `at least, to clear ${clears}: ${degrees(found.clear_angle)} in all`;
}

function cuts(found) {
  part("cuts", found);
  if (!found) return;
  const count = found.count === 1 ? "1 negative" : `${found.count} negatives`;
  slots.cuts.textContent = `${count} from a sheet; ${percent(found.waste_share)} of it is left over.`;
  showDrawing(slots.cuts_drawing, found.svg);
  list(slots.cut_steps, found.cuts.map((cut) => cut.text));
  slots.cut_caution.textContent = found.caution;
}

function arrangements(both) {
  part("arrangements", both.length);
  head(slots.arrangements, ["Figure", ...both.map((each) => each.name)]);
  const told = (label, of) => [label, ...both.map(of)];
  rows(slots.arrangements, [
    told("Negative", (each) => area(each.film_plane.negative)),
    told("Focal length", (each) => size(each.film_plane.distance.mean)),
    told("Seen across", (each) => degrees(each.film_plane.field_of_view.horizontal)),
    told("Darkest corner", (each) => stops(each.light.darkest_stops)),
    told("Within one stop of the axis", (each) => percent(each.light.within_one_stop_share)),
  ]);
  slots.arrangement_drawings.replaceChildren(...both.map((each) => {
    const figure = document.createElement("figure");
    const drawing = figure.appendChild(Object.assign(document.createElement("div"), { className: "drawing" }));
    figure.append(Object.assign(document.createElement("figcaption"), { className: "quiet", textContent: each.name }));
    showDrawing(drawing, each.film_plane.svg);
    return figure;
  }));
}

function part(name, there) {
  answer.querySelector(`[data-part="${name}"]`).hidden = !there;
}

function head(table, cells) {
  const row = document.createElement("tr");
  for (const text of cells) {
    row.append(Object.assign(document.createElement("th"), { scope: "col", textContent: text }));
  }
  table.tHead.replaceChildren(row);
}

/** The body of a table, the first cell of each row its heading. */
export function rows(table, lines) {
  table.tBodies[0].replaceChildren(...lines.map(([first, ...others]) => {
    const row = document.createElement("tr");
    row.append(Object.assign(document.createElement("th"), { scope: "row", textContent: first }));
    for (const text of others) row.insertCell().textContent = text;
    return row;
  }));
}
