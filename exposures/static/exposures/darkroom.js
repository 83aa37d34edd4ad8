/* The darkroom's step timer. What runs is {paper, step, startedAt, jump}, kept in this browser, so a reload loses nothing;
   `jump` is the clock's last one in this step, as clocks.js tells it. */

import * as alarm from "./field/alarm.js";
import { sayJump, watchClock } from "./field/clocks.js";
import { clock } from "./field/time.js";

const KEPT = "pinpool-darkroom";
/* So long after the longest time it says that it is over, in s: nobody lifts a sheet within a second. */
const GRACE = 5;
const run = document.getElementById("run");
const of = (id) => document.getElementById(id);
const steps = [...of("steps").children].map((item) => ({
  item,
  title: item.dataset.title,
  low: Number(item.dataset.low),
  high: Number(item.dataset.high),
  drain: Number(item.dataset.drain),
}));
const watch = watchClock("pinpool-darkroom-seen");
let sounded;

function kept() {
  try {
    const found = JSON.parse(localStorage.getItem(KEPT));
    return found?.paper === run.dataset.paper && steps[found.step] ? found : null;
  } catch {
    return null;
  }
}

let now = kept();

function keep(state) {
  now = state;
  try {
    if (state) localStorage.setItem(KEPT, JSON.stringify(state));
    else localStorage.removeItem(KEPT);
  } catch {
    // A private window keeps nothing: the timer runs on, but not through a reload.
  }
  show();
}

function next() {
  alarm.prepare();
  const step = now ? now.step + 1 : 0;
  if (!steps[step]) return finish();
  watch.start();
  keep({ paper: run.dataset.paper, step, startedAt: Date.now() });
}

function finish() {
  keep(null);
  alarm.letSleep();
  of("step-says").textContent = "Done. Let the negative dry, then judge it below.";
  of("judge").scrollIntoView();
}

function show() {
  for (const [place, { item }] of steps.entries()) {
    if (place === now?.step) item.setAttribute("aria-current", "step");
    else item.removeAttribute("aria-current");
  }
  of("again").hidden = !now;
  of("clock-says").hidden = !now?.jump;
  if (now?.jump) of("clock-says").textContent = sayJump(now.jump);
  if (!now) {
    of("step-time").textContent = "0:00";
    of("step-span").textContent = "";
    of("step-bar").value = 0;
    of("next").textContent = `Start: ${steps[0].title.toLowerCase()}`;
    return;
  }
  const step = steps[now.step];
  const following = steps[now.step + 1];
  of("next").textContent = following ? `Next: ${following.title.toLowerCase()}` : "Done";
  tick();
  say(`${step.title}.${step.drain ? ` Then let it drain for ${step.drain} s.` : ""}`);
}

function tick() {
  if (!now) return;
  const step = steps[now.step];
  const seconds = Math.max((Date.now() - now.startedAt) / 1000, 0);
  of("step-time").textContent = clock(seconds);
  of("step-bar").value = Math.min(seconds / step.low, 1);
  const span = step.low === step.high ? clock(step.low) : `${clock(step.low)} to ${clock(step.high)}`;
  of("step-span").textContent = `of ${span}`;
  if (seconds < step.low) return;
  say(seconds > step.high + GRACE ? `${step.title}: over the time. Take it out.` : `${step.title}: enough. Move on.`);
  const key = `${now.step} ${now.startedAt}`;
  if (sounded !== key) alarm.sound();
  sounded = key;
}

/* A clock that jumps must not change the time in the bath. */
function mindClock() {
  const jump = watch.jump(now?.startedAt);
  if (jump) keep({ ...now, startedAt: now.startedAt + (jump.counted ? 0 : jump.ms), jump });
}

/* Only where it differs, or a screen reader would be told the same again. */
function say(text) {
  if (of("step-says").textContent !== text) of("step-says").textContent = text;
}

of("next").addEventListener("click", next);
of("again").addEventListener("click", () => {
  alarm.letSleep();
  keep(null);
});
document.addEventListener("keydown", (event) => {
  const elsewhere = event.target.closest("input, select, textarea, button, a, summary");
  if (event.code !== "Space" || elsewhere || event.repeat) return;
  event.preventDefault();
  next();
});
document.addEventListener("visibilitychange", () => {
  if (!document.hidden && now) alarm.stayAwake();
  tick();
});
setInterval(() => (mindClock(), tick()), 250);
run.hidden = false;
show();
