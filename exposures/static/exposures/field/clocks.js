/* The phone's clock can be set; the page's own only counts, but on most phones it stands still while they sleep.

   Where the two part, the clock was set or the phone slept. A page that was shown all the while did not sleep. */

import { exactTime } from "./time.js";

/* Clocks that are only kept in step move by less than this at once. */
const STEP_MS = 1000;
/* A reload takes no longer than this; and so often it is noted that the page still runs. */
const AWAY_MS = 60_000;
const NOTED_MS = 5000;

/** Watch the clock for a page that calls `jump` a few times a second. When it last did is kept under `name`. */
export function watchClock(name) {
  const offset = () => Date.now() - performance.now();
  let last = offset();
  let shown = !document.hidden;
  let away = true; // until something that runs was seen once
  let noted = 0;
  document.addEventListener("visibilitychange", () => (shown &&= !document.hidden));

  const note = () => {
    noted = Date.now();
    try {
      localStorage.setItem(name, noted);
    } catch {
      // A private window keeps nothing: a reload is then taken for a short one.
    }
  };

  /** What runs starts now, in this page. */
  function start() {
    away = false;
    last = offset();
    note();
  }

  /** How far the clock jumped since the last call, as {ms, counted, at}, or undefined: set back (below 0) or forward.
      `counted` says that the phone may have slept meanwhile. `startedAt` is when what runs did, undefined if nothing. */
  function jump(startedAt) {
    let ms = offset() - last;
    let counted = !shown;
    last += ms;
    shown = !document.hidden;
    if (startedAt === undefined) return undefined;
    if (away) {
      const seen = notedBefore();
      const gap = Date.now() - seen;
      if (seen >= startedAt && (gap < -STEP_MS || gap > AWAY_MS)) [ms, counted] = [gap, true];
      away = false;
    }
    if (Math.abs(ms) > STEP_MS || Math.abs(Date.now() - noted) > NOTED_MS) note();
    return Math.abs(ms) > STEP_MS ? { ms, counted: counted && ms > 0, at: Date.now() } : undefined;
  }

  function notedBefore() {
    try {
      return Number(localStorage.getItem(name) ?? NaN);
    } catch {
      return NaN;
    }
  }

  return { start, jump };
}

/** What is to be said of a jump. */
export function sayJump({ ms, counted }) {
  const time = exactTime(Math.abs(ms) / 1000);
  if (ms < 0) return `The clock was set back by ${time}; the time goes on from where it was.`;
  if (!counted) return `The clock went ${time} forward at once: that is not counted.`;
  return `For ${time} this page or the phone slept, or the clock was set: that time is counted.`;
}
