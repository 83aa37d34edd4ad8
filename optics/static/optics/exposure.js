/* From light to time without a server: what a phone needs where there is no signal. The same as optics/core/light.py,
   reciprocity.py, say.py and progress.py; fixtures/vectors/{light,reciprocity,times,progress}.json hold for both. */

import { QuantityError, plainDigits, readQuantity } from "../pinpool/quantities.js";

/* ------------------------------------------------------------------------------------------------- light readings */

const K_REFLECTED = 12.5;
const C_FLAT = 250;

/* A reading is known by its keys. ISO 2720:1974 [read in secondary sources]: EV = log₂(N²/t), N²/t = L·S/K = E·S/C. */
const ISO = { number: [0.01, 1e7], otherwise: 100 };
const READINGS = [
  { keys: { ev: { number: [-20, 30] }, iso: ISO }, ev100: ({ ev, iso }) => ev - Math.log2(iso / 100) },
  {
    keys: { time: { quantity: "time", limits: [1e-6, 1e6] }, f_number: { number: [0.5, 100_000] }, iso: ISO },
    ev100: ({ time, f_number, iso }) => Math.log2(((f_number ** 2 / time) * 100) / iso),
  },
  {
    keys: {
      illuminance: { quantity: "illuminance", limits: [1e-9, 1e7] },
      calibration_constant: { number: [100, 500], otherwise: C_FLAT },
    },
    ev100: ({ illuminance, calibration_constant }) => Math.log2((illuminance * 100) / calibration_constant),
  },
  {
    keys: {
      luminance: { quantity: "luminance", limits: [1e-10, 1e7] },
      calibration_constant: { number: [5, 30], otherwise: K_REFLECTED },
    },
    ev100: ({ luminance, calibration_constant }) => Math.log2((luminance * 100) / calibration_constant),
  },
];

/** EV at ISO 100 of a reading such as `{ev: 12, iso: 100}`, `{time: "1/60 s", f_number: 16}`, `{illuminance: "32 klx"}`.

    Throws QuantityError, with `key` the key at fault, for anything that is no reading. */
export function readLight(reading) {
  const kind = kindOf(reading);
  for (const key of Object.keys(reading)) {
    if (!(key in kind.keys)) refuse("unknown_key", `Unknown key; known here: ${Object.keys(kind.keys).join(", ")}.`, key);
  }
  const values = {};
  for (const [key, wanted] of Object.entries(kind.keys)) values[key] = readPart(reading[key], wanted, key);
  const ev100 = kind.ev100(values);
  if (!(ev100 >= -30 && ev100 <= 30)) {
    refuse("light_out_of_range", `EV ${ev100.toFixed(1)} at ISO 100 is beyond any light on earth (−30 to 30).`);
  }
  return ev100;
}

function kindOf(reading) {
  if (reading === null || typeof reading !== "object" || Array.isArray(reading)) {
    refuse("wrong_type", 'Give an object such as {"ev": 12, "iso": 100}.');
  }
  const required = ({ keys }) => Object.keys(keys).filter((key) => !("otherwise" in keys[key]));
  const fits = READINGS.filter((kind) => required(kind).every((key) => key in reading));
  if (fits.length > 1) refuse("ambiguous", "These are several readings at once; give one.");
  const found = fits[0] ?? READINGS.find((kind) => required(kind).some((key) => key in reading));
  if (!found) refuse("unknown_reading", "No reading has these keys: give ev, time and f_number, illuminance or luminance.");
  return found;
}

function readPart(given, { number, quantity, limits, otherwise }, key) {
  if (given === undefined) return otherwise ?? refuse("required", "This is needed.", key);
  if (number) return readNumber(given, number, key);
  try {
    return readQuantity(given, quantity, { minimum: limits[0], maximum: limits[1] }).value;
  } catch (fault) {
    return refuse(fault.code, fault.message, key);
  }
}

function readNumber(given, [least, most], key) {
  if (typeof given !== "number") refuse("not_a_number", "Give a plain number, such as 5.6.", key);
  if (!Number.isFinite(given)) refuse("not_finite", "Give a number that is finite.", key);
  if (given < least || given > most) refuse("out_of_range", `Must be at least ${least} and at most ${most}.`, key);
  return given;
}

/** t = N²/(2^EV · EI/100) · 2^filter in s, before reciprocity. */
export function indicatedTime({ ev100, fNumber, exposureIndex, filterStops = 0 }) {
  return (fNumber ** 2 / ((2 ** ev100 * exposureIndex) / 100)) * 2 ** filterStops;
}

/* ------------------------------------------------------------------------------------------------ reciprocity laws */

/* Far steeper rows are slips of the pen, as optics/core/reciprocity.py has it. */
const STEEPEST = 5;

/** The function from indicated to exposure time, both in s, of a law:
    `{law: "none"}`, `{law: "power", exponent, from_s = 1}` or `{law: "table", rows_s: [[indicated, corrected], …]}`.

    Throws QuantityError where it cannot be a law. */
export function lawOf({ law, exponent, from_s = 1, rows_s }) {
  if (law === "none") return (time) => time;
  if (law === "power") return powerLaw(exponent, from_s);
  if (law === "table") return tableLaw(rows_s);
  return refuse("invalid_choice", "One of none, power, table.", "law");
}

function powerLaw(exponent, from_s) {
  if (!(exponent >= 1 && exponent <= 3)) {
    refuse("exponent_range", "A reciprocity exponent lies between 1 (no failure) and 3.", "exponent");
  }
  if (!(from_s > 0)) refuse("not_positive", "The time a power law starts from must be more than zero.", "from");
  return (time) => (time > from_s ? from_s * (time / from_s) ** exponent : time);
}

function tableLaw(rows_s) {
  checkTable(rows_s);
  const x = rows_s.map(([indicated]) => Math.log(indicated));
  const y = rows_s.map(([, corrected]) => Math.log(corrected));
  const last = x.length - 1;
  const slopes = rowSlopes(x, y);
  const after = (y[last] - y[last - 1]) / (x[last] - x[last - 1]);
  return (time) => {
    const at = Math.log(time);
    if (at <= x[0]) return Math.exp(y[0] + at - x[0]);
    if (at >= x[last]) return Math.exp(y[last] + after * (at - x[last]));
    const k = x.findIndex((next) => next > at) - 1;
    const [width, share] = [x[k + 1] - x[k], (at - x[k]) / (x[k + 1] - x[k])];
    const [rest, more] = [1 - share, share * share * (3 - 2 * share)];
    return Math.exp(
      y[k] * (1 - more) + y[k + 1] * more + width * share * rest * (slopes[k] * rest - slopes[k + 1] * share),
    );
  };
}

function checkTable(rows_s) {
  if (!Array.isArray(rows_s) || rows_s.length < 2 || rows_s.some((row) => row.length !== 2)) {
    refuse("table_rows", "Give at least two rows, each [indicated, corrected].", "rows");
  }
  if (!rows_s.flat().every((time) => Number.isFinite(time) && time > 0)) {
    refuse("table_rows", "Every time in the table must be more than zero.", "rows");
  }
  const steps = rows_s.slice(1).map(([indicated, corrected], k) => [rows_s[k], [indicated, corrected]]);
  if (steps.some(([before, row]) => row[0] <= before[0] || row[1] <= before[1])) {
    refuse("table_order", "Both columns must rise from row to row.", "rows");
  }
  if (rows_s.some(([indicated, corrected]) => corrected < indicated * (1 - 1e-9))) {
    refuse("table_shortens", "A corrected time cannot be shorter than the indicated one.", "rows");
  }
  const steep = ([before, row]) => {
    const [along, up] = [Math.log(row[0] / before[0]), Math.log(row[1] / before[1])];
    return along < 1e-6 || up > STEEPEST * along;
  };
  if (steps.some(steep)) {
    const doubt = `the corrected time grows faster than the power ${STEEPEST} of the indicated one`;
    refuse("table_steep", `Two rows are nearly the same, or ${doubt}: check the rows.`, "rows");
  }
}

/* Slopes at the rows that keep the curve monotone: weighted harmonic means (F. N. Fritsch, J. Butland, SIAM J. Sci.
   Stat. Comput. 5, 300 (1984) [memory]), one-sided parabolas at both ends, as scipy's PchipInterpolator takes them. */
function rowSlopes(x, y) {
  const width = x.slice(1).map((next, k) => next - x[k]);
  const rise = width.map((each, k) => (y[k + 1] - y[k]) / each);
  if (rise.length === 1) return [rise[0], rise[0]];
  const end = (w0, w1, r0, r1) => Math.max(((2 * w0 + w1) * r0 - w0 * r1) / (w0 + w1), 0);
  const inner = rise.slice(1).map((after, k) => {
    const [w1, w2] = [2 * width[k + 1] + width[k], width[k + 1] + 2 * width[k]];
    return (w1 + w2) / (w1 / rise[k] + w2 / after);
  });
  const [w, r] = [width.toReversed(), rise.toReversed()];
  return [end(width[0], width[1], rise[0], rise[1]), ...inner, end(w[0], w[1], r[0], r[1])];
}

/** The straight line between rows in log-log, and beyond the first and the last: `rows` are lists of [x, y, …] with x
    rising; gives the y of every column at `x`. */
export function alongRows(rows, x) {
  const next = rows.findIndex((row) => row[0] >= x);
  const k = Math.min(Math.max((next < 0 ? rows.length : next) - 1, 0), rows.length - 2);
  const [low, high] = [rows[k], rows[k + 1]];
  const share = Math.log(x / low[0]) / Math.log(high[0] / low[0]);
  return low.slice(1).map((y, column) => y * (high[column + 1] / y) ** share);
}

/* ------------------------------------------------------------------------------------------------- changing light */

/* The future is followed for this many times the steady remaining time before it is called endless. */
const LOOK_AHEAD = 200;
const STEPS = 20_000;

/** How far a long exposure is: `segments` of [EV at ISO 100, seconds it lasted], `evNow` the light at this moment, and
    `wholeTime(ev100)` the time in s that the exposure would take in that light alone.

    Gives `share` (1 = done), `given`, and in s what is still to go: `remaining` in steady light, `soonest` and `latest`
    (Infinity: never) if the light goes on changing as it has. Each moment counts dt/T, as optics/core/progress.py says. */
export function progress(segments, { evNow, wholeTime }) {
  const share = segments.reduce((sum, [ev, lasted]) => sum + lasted / wholeTime(ev), 0);
  const given = segments.reduce((sum, [, lasted]) => sum + lasted, 0);
  if (share >= 1) return { share, given, remaining: 0, soonest: 0, latest: 0, complete: true, lightFails: false };
  const remaining = (1 - share) * wholeTime(evNow);
  const rates = changesOfLight(segments, given, evNow);
  const ends = [0, Math.min(0, ...rates), Math.max(0, ...rates)].map((rate) =>
    rate === 0 ? remaining : timeToGo(rate, { left: 1 - share, remaining, evNow, wholeTime }),
  );
  const [soonest, latest] = [Math.min(...ends), Math.max(...ends)];
  return { share, given, remaining, soonest, latest, complete: false, lightFails: latest === Infinity };
}

/* EV per second between neighbouring readings, each standing for the middle of its segment. */
function changesOfLight(segments, given, evNow) {
  let start = 0;
  const readings = segments.map(([ev, lasted]) => [ev, (start += lasted) - lasted / 2]);
  readings.push([evNow, given]);
  return readings.slice(1).map(([ev, time], k) => (ev - readings[k][0]) / (time - readings[k][1]));
}

function timeToGo(rate, { left, remaining, evNow, wholeTime }) {
  // Below EV −30 or above 30 the light would not be of this earth; hold it there.
  const speed = (ahead) => 1 / wholeTime(Math.min(Math.max(evNow + rate * ahead, -30), 30));
  const growth = (LOOK_AHEAD / 1e-6) ** (1 / (STEPS - 1));
  let [gained, before, speedBefore] = [0, 0, speed(0)];
  for (let ahead = remaining * 1e-6, step = 0; step < STEPS; step += 1, ahead *= growth) {
    const speedThen = speed(ahead);
    const more = ((ahead - before) * (speedThen + speedBefore)) / 2;
    if (gained + more >= left) return before + ((left - gained) / more) * (ahead - before);
    [gained, before, speedBefore] = [gained + more, ahead, speedThen];
  }
  return Infinity;
}

/* -------------------------------------------------------------------------------------------------------- in words */

/* Shutter times under a third of a second, as a dial prints them: 1/n s. [ISO 516, memory] */
const FRACTIONS = [
  3, 4, 5, 6, 8, 10, 13, 15, 20, 25, 30, 40, 50, 60, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800,
  1000, 1250, 1600, 2000, 2500, 3200, 4000, 5000, 6400, 8000,
];
/* From each of these times (s), round to the step beside it. */
const ROUNDED_TO = [
  [86400, 3600], [5 * 3600, 600], [3600, 60], [600, 15], [300, 10], [90, 5], [30, 1], [10, 0.5], [1, 0.1], [0, 0.05],
];
const UNITS = [[86400, "d"], [3600, "h"], [60, "min"], [1, "s"]];

/** “1/60 s”, “2.5 s”, “3 min 20 s”, “1 h 5 min”: a time of 0 s or more, rounded for people. */
export function sayTime(time_s) {
  if (time_s === 0) return "0 s";
  if (time_s < 1 / 2.7) return sayFraction(time_s);
  const step = ROUNDED_TO.find(([start]) => time_s >= start)[1];
  const rounded = roundEven(time_s / step) * step;
  if (rounded < 60) return `${Number(rounded.toFixed(2))} s`;
  let left = Math.round(rounded);
  const parts = [];
  for (const [size, unit] of UNITS) {
    const count = Math.floor(left / size);
    left -= count * size;
    if (count) parts.push(`${count} ${unit}`);
  }
  return parts.join(" ");
}

function sayFraction(time_s) {
  const off = (n) => Math.abs(Math.log2(n * time_s));
  const n = FRACTIONS.reduce((best, each) => (off(each) < off(best) ? each : best));
  return off(n) > 0.25 ? `${plainDigits(Number((time_s * 1000).toPrecision(2)))} ms` : `1/${n} s`;
}

/** “f/226”: whole above 10, one decimal below. */
export function sayFNumber(n) {
  return `f/${n >= 9.95 ? roundEven(n) : Number(n.toFixed(1))}`;
}

/** “+1⅓ stops”, “−½ stop”, “0 stops”: to the nearest whole, half or third of a stop. */
export function sayStops(stops) {
  const marks = [[0, ""], [2, "⅓"], [3, "½"], [4, "⅔"], [6, ""]];
  const part = Math.abs(stops) % 1;
  const [sixth, mark] = marks.reduce((best, each) =>
    Math.abs(each[0] / 6 - part) < Math.abs(best[0] / 6 - part) ? each : best,
  );
  const whole = Math.floor(Math.abs(stops)) + (sixth === 6 ? 1 : 0);
  const text = (whole || !mark ? String(whole) : "") + mark;
  const sign = text === "0" ? "" : stops > 0 ? "+" : "−";
  return `${sign}${text} ${["⅓", "½", "⅔", "1"].includes(text) ? "stop" : "stops"}`;
}

/* Halves to the even neighbour, as the service rounds. */
function roundEven(number) {
  const rounded = Math.round(number);
  return Math.abs(number % 1) === 0.5 && rounded % 2 ? rounded - 1 : rounded;
}

function refuse(code, detail, key = "") {
  throw Object.assign(new QuantityError(code, detail), { key });
}
