/* From a reading to the time to give, by the tables that the phone took along. Pure functions; nothing is kept here. */

import { alongRows, indicatedTime, progress, readLight, sayTime } from "../../optics/exposure.js";

const DAY_S = 86_400;
/* A year stands in the tables for whatever is longer; half a stop outside the logged times is still inside. */
const YEAR_S = 365.25 * DAY_S;
const BEYOND = Math.SQRT2;
/* A timer closed in the moment that it was done is done. */
const ROUNDING = 1e-6;

/** What a camera and a paper of a kit need for looking up times; undefined where the kit has no table of the two. */
export function tableOf(kit, cameraCode, paperId) {
  const camera = kit.cameras.find(({ code }) => code === cameraCode);
  const paper = kit.papers.find(({ id }) => id === paperId);
  const table = kit.times.find(({ cameras, paper: of }) => of === paperId && cameras.includes(cameraCode));
  if (!camera || !paper || !table) return undefined;
  return {
    camera: { code: camera.code, name: camera.name },
    paper: { id: paper.id, name: paper.name },
    fNumber: camera.f_number,
    exposureIndex: paper.nominal_exposure_index,
    rows: table.rows,
    shortest_s: paper.shortest?.value ?? null,
    longest_s: paper.longest?.value ?? null,
    flags: paper.flags.map(({ text }) => text),
    restsOn: [`${paper.name}: ${paper.rests_on}.`, camera.rests_on && `${camera.code}: ${camera.rests_on}.`, kit.rests_on],
  };
}

/** The time to give in a light, in s: indicated, to give, and from `low` to `high` nine times in ten. */
export function timeIn(table, ev100, filterStops = 0) {
  const indicated = indicatedTime({ ev100, fNumber: table.fNumber, exposureIndex: table.exposureIndex, filterStops });
  const [time, low, high] = alongRows(table.rows, indicated).map((each) => Math.min(each, YEAR_S));
  return { indicated, time, low, high };
}

/** `timeIn` in words: what to give, the range, and every reason to doubt it. */
export function sayTimeIn(table, ev100, filterStops = 0) {
  const { indicated, time, low, high } = timeIn(table, ev100, filterStops);
  const doubts = [...table.flags];
  if (time >= YEAR_S) doubts.unshift("No time would be long enough in this light.");
  else if (time > DAY_S) doubts.unshift("This is longer than a day of light; the reading will not hold.");
  if (indicated < table.rows[0][0] || indicated > table.rows.at(-1)[0]) {
    doubts.unshift("This light is beyond the tables on this phone: a guess.");
  } else if (table.shortest_s !== null && (time < table.shortest_s / BEYOND || time > table.longest_s * BEYOND)) {
    const known = `${sayTime(table.shortest_s)} to ${sayTime(table.longest_s)}`;
    doubts.unshift(`Times from ${known} are known; ${sayEnd(time)} lies outside: a guess.`);
  }
  return { give: sayEnd(time), range: `${sayEnd(low)} to ${sayEnd(high)}`, indicated: sayTime(indicated), doubts };
}

function sayEnd(time_s) {
  return time_s < YEAR_S ? sayTime(time_s) : "more than a year";
}

/* ---------------------------------------------------------------------------------------------------- the reading */

/** The reading that a form's values tell: `kind` and what was typed for it. A bare number gets its usual unit. */
export function readingOf({ kind, ev, iso, time, f_number, illuminance, luminance }) {
  const isoSet = iso ? { iso: plainNumber(iso) } : {};
  if (kind === "ev") return { ev: plainNumber(ev), ...isoSet };
  if (kind === "time") return { time: withUnit(time, "s"), f_number: plainNumber(f_number), ...isoSet };
  return kind === "illuminance" ? { illuminance: withUnit(illuminance, "lx") } : { luminance: withUnit(luminance, "cd/m2") };
}

/** The number that a text tells; "12 1/3" and "−2" are numbers too. Anything else stays a text, which is refused later. */
export function plainNumber(text) {
  const found = /^\s*([+\-−]?)(?:(\d*\.?\d+)|(?:(\d+)\s+)?(\d+)\/([1-9]\d*))\s*$/.exec(text);
  if (!found) return text;
  const [, sign, decimal, whole = 0, above, below] = found;
  return (sign === "-" || sign === "−" ? -1 : 1) * (decimal ? Number(decimal) : Number(whole) + above / below);
}

function withUnit(text, unit) {
  return /[^\s\d./¼-¾⅐-⅞]/.test(text ?? "") ? text : `${text ?? ""} ${unit}`;
}

/** EV at ISO 100 of a reading; throws with `key`, the part at fault, and a sentence. */
export { readLight };

/* ------------------------------------------------------------------------------------------------------- the timer */

/* A timer is {id, account, club, table, filterStops, segments: [{at, ev100, reading}], closedAt, jump}: `at` and
   `closedAt` in ms since 1970, each segment lasting until the next one begins. All that is shown follows from it and the
   clock; `jump` is the clock's last one while it ran. */

/** The timer with another reading from `now` on. */
export function withLight(timer, reading, now) {
  return { ...timer, segments: [...timer.segments, { at: now, reading, ev100: readLight(reading) }] };
}

/** The timer after a jump of the clock, {ms, counted, at} as `clocks.js` tells it: what does not count takes the timer's
    moments along. Jumps alike are told as one. */
export function withJump(timer, jump) {
  const { jump: before, segments } = timer;
  const alike = before?.ms > 0 && jump.ms > 0 && before.counted === jump.counted && segments.at(-1).at <= before.at;
  const told = alike ? { ...jump, ms: before.ms + jump.ms } : jump;
  return { ...(jump.counted ? timer : moved(timer, jump.ms)), jump: told };
}

/** The timer with its last jump forward counted where it was not, and the other way round. */
export function withJumpTurned(timer) {
  const { ms, counted, at } = timer.jump;
  return { ...moved(timer, counted ? ms : -ms, at), jump: { ms, at, counted: !counted } };
}

/* With what began up to a moment `ms` later than it did. */
function moved(timer, ms, until = Infinity) {
  const move = (segment) => (segment.at <= until ? { ...segment, at: segment.at + ms } : segment);
  return { ...timer, segments: timer.segments.map(move) };
}

/** How far a timer is at `now`: the share given and the seconds given and to go, `complete` from a share of 1 on,
    `closeAt` (ms) when that is or was, and the seconds since. In the light of now; `rangeOf` says what else it may be. */
export function stateOf(timer, now) {
  const until = timer.closedAt ?? now;
  const wholeTime = wholeTimeOf(timer);
  const segments = lasted(timer, until);
  const share = segments.reduce((sum, [ev100, seconds]) => sum + seconds / wholeTime(ev100), 0);
  const given = segments.reduce((sum, [, seconds]) => sum + seconds, 0);
  const last = timer.segments.at(-1);
  const [, lastSeconds] = segments.at(-1);
  const shareBefore = share - lastSeconds / wholeTime(last.ev100);
  const closeAt = last.at + Math.max(1 - shareBefore, 0) * wholeTime(last.ev100) * 1000;
  const over = Math.max((until - closeAt) / 1000, 0);
  return { share, given, remaining: Math.max(1 - share, 0) * wholeTime(last.ev100), complete: share >= 1 - ROUNDING, closeAt, over };
}

/** How long it may still take at `now` if the light goes on changing as it has: {soonest, latest} in s, latest Infinity
    where it would never be complete. Too much work for every tick. */
export function rangeOf(timer, now) {
  const segments = lasted(timer, now).filter(([, seconds]) => seconds > 0);
  const { soonest, latest } = progress(segments, {
    evNow: timer.segments.at(-1).ev100,
    wholeTime: wholeTimeOf(timer),
  });
  return { soonest, latest };
}

const wholeTimeOf = (timer) => (ev100) => timeIn(timer.table, ev100, timer.filterStops).time;

/* [EV, seconds] of every segment. */
function lasted(timer, until) {
  const ends = [...timer.segments.slice(1).map(({ at }) => at), until];
  return timer.segments.map(({ at, ev100 }, k) => [ev100, Math.max(ends[k] - at, 0) / 1000]);
}

/** The entry of the log that a closed timer makes, `judged` being stops over (+) or under, or null for later.

    Where the light changed it tells the mean light of the whole time, and each reading in the note. */
export function entryOf(timer, judged) {
  const [first] = timer.segments;
  const segments = lasted(timer, timer.closedAt);
  const seconds = segments.reduce((sum, [, each]) => sum + each, 0);
  const light = segments.reduce((sum, [ev100, each]) => sum + each * 2 ** ev100, 0) / seconds;
  const changed = timer.segments.length > 1 && seconds > 0;
  const told = segments.map(([ev100, each]) => `EV ${ev100.toFixed(1)} for ${exactTime(each)}`).join(", then ");
  return {
    id: timer.id,
    camera: timer.table.camera.code,
    paper: timer.table.paper.id,
    taken_at: new Date(first.at).toISOString(),
    reading: changed ? { ev: Number(Math.log2(light).toFixed(2)) } : first.reading,
    filter_stops: timer.filterStops,
    exposure_time: exactTime(seconds),
    ...(judged === null ? {} : { result: { judged_stops: judged } }),
    ...(changed ? { note: `The light changed: ${told}. The reading is its mean.` } : {}),
  };
}

/** A time to the second, or to a tenth below 10 s, as the service reads it: “3 min 7 s”. */
export function exactTime(seconds) {
  if (seconds < 10) return `${Math.max(Math.round(seconds * 10), 1) / 10} s`;
  const whole = Math.round(seconds);
  const parts = [[Math.floor(whole / 3600), "h"], [Math.floor(whole / 60) % 60, "min"], [whole % 60, "s"]];
  return parts.filter(([count]) => count).map(([count, unit]) => `${count} ${unit}`).join(" ");
}

/** A time on a clock face: “0:07”, “1:02:07”. */
export function clock(seconds) {
  const whole = Math.max(Math.round(seconds), 0);
  const [hours, minutes, rest] = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60, whole % 60];
  const two = (number) => String(number).padStart(2, "0");
  return hours ? `${hours}:${two(minutes)}:${two(rest)}` : `${minutes}:${two(rest)}`;
}
