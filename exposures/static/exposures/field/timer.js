/* Showing the timer, a few times a second, from its kept start and the clock alone. */

import { sayStops, sayTime } from "../../optics/exposure.js";
import * as alarm from "./alarm.js";
import { sayJump } from "./clocks.js";
import { clock, rangeOf, stateOf } from "./time.js";

const of = (id) => document.getElementById(id);
const title = document.title;
/* How often the range of what is still to go is reckoned anew. */
const RANGE_EVERY_MS = 10_000;
let sounded;
let range = { of: "", at: 0 };

/** Show a timer as it is now; undefined where none runs. */
export function showTimer(timer) {
  of("timing").hidden = !timer;
  if (!timer) {
    document.title = title;
    return;
  }
  const state = stateOf(timer, Date.now());
  const open = timer.closedAt === null;
  const { camera, paper } = timer.table;
  of("what").textContent = `${camera.code}, ${camera.name}, on ${paper.name}`;
  of("timing-title").textContent = open ? "Exposing" : "Exposed";
  of("to-go").textContent = clock(state.complete ? state.over : state.remaining);
  of("to-go-says").textContent = state.complete ? "over the time" : "still to go";
  of("elapsed").textContent = clock(state.given);
  of("share").textContent = `${Math.floor(state.share * 100 + 1e-3)} %`;
  of("share-bar").value = Math.min(state.share, 1);
  showEnd(timer, state, open);
  showJump(timer, open);
  showButtons(timer, state, open);
  document.title = open ? `${state.complete ? "Close!" : clock(state.remaining)} · ${title}` : title;
  if (open && state.complete && sounded !== timer.id) {
    sounded = timer.id;
    alarm.sound();
  }
}

function showEnd(timer, state, open) {
  const at = clockTime(state.closeAt);
  const before = `Closed before the time was up; it would have been at ${at}.`;
  const coming = open ? `Close at ${at}, if the light stays.` : before;
  setText("when", state.complete ? `The time was up at ${at}.` : coming);
  setText("close", open && state.complete ? "Close now" : "");
  of("close").hidden = !(open && state.complete);
  setText("light-range", state.complete ? sayOver(state) : open ? sayRange(timer) : "");
}

function sayOver({ share }) {
  const over = Math.log2(share);
  return over > 0.1 ? `${sayStops(over)} over by the light so far.` : "";
}

function sayRange(timer) {
  const now = Date.now();
  const key = `${timer.id} ${timer.segments.length}`;
  if (range.of !== key || now - range.at > RANGE_EVERY_MS) range = { of: key, at: now, ...rangeOf(timer, now) };
  if (range.latest === Infinity) return "If the light goes on falling as it has, this will never be complete.";
  if (range.latest <= range.soonest * 1.02) return "";
  const [soonest, latest] = [range.soonest, range.latest].map(sayTime);
  return `If the light goes on changing as it has, ${soonest} to ${latest} more from ${clockTime(range.at)} on.`;
}

/* With its day, where that is not today. */
function clockTime(moment) {
  const when = new Date(moment);
  if (when.toDateString() === new Date().toDateString()) return when.toLocaleTimeString();
  return when.toLocaleString([], { weekday: "short", day: "numeric", month: "short", hour: "numeric", minute: "2-digit" });
}

/* What the clock did while the shutter was open; whether that is time given, a person knows better than the page. */
function showJump({ jump }, open) {
  of("jump").hidden = !jump;
  if (!jump) return;
  setText("jump-says", sayJump(jump));
  setText("jump-turn", jump.counted ? "The clock was set: do not count it" : "The phone slept: count it");
  of("jump-turn").hidden = !open || jump.ms < 0;
}

function showButtons(timer, state, open) {
  of("while-open").hidden = !open;
  of("closed-on-time").hidden = !state.complete;
  of("judging").hidden = open;
  of("stops").hidden = !timer.mayLog;
  setText(
    "judging-says",
    timer.mayLog
      ? "Log it. How did it come out? Stops over (+) or under (−); it can be told later."
      : "As a guest of the club you cannot log this.",
  );
  of("asleep").hidden = !open || state.complete;
}

/* Only where it differs, or a screen reader would be told the same again. */
function setText(id, text) {
  if (of(id).textContent !== text) of(id).textContent = text;
}
