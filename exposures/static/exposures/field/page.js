/* The field page: what is on it follows from what the phone keeps and from the clock. */

import * as alarm from "./alarm.js";
import { ask } from "./ask.js";
import { watchClock } from "./clocks.js";
import { showEntries } from "./entries.js";
import * as kits from "./kit.js";
import * as queue from "./queue.js";
import * as store from "./store.js";
import {
  entryOf, plainNumber, readLight, readingOf, sayTimeIn, stateOf, tableOf, withJump, withJumpTurned, withLight,
} from "./time.js";
import { showTimer } from "./timer.js";

const page = document.getElementById("field");
let failed; // the work that did not go well last
const form = document.getElementById("choice");
const of = (id) => document.getElementById(id);
const watch = watchClock("pinpool-field-seen");

/* Everything shown comes from here; `look` fills it from what the phone keeps. */
const now = {
  account: undefined, kits: [], kit: undefined, timer: undefined, table: undefined, reading: undefined, outcome: undefined,
};

/* -------------------------------------------------------------------------------------------------- what is kept */

async function look() {
  const [account, timer, choices] = await Promise.all([kits.lastAccount(), store.kept("timer"), store.kept("choices")]);
  [now.account, now.timer] = [account, timer];
  now.kits = account === undefined ? [] : await kits.kitsOf(account);
  fillChoices(choices);
  answer();
  tick();
  await showEntries({ account: now.account, kits: now.kits, changed });
  showKept();
}

async function changed() {
  await showEntries({ account: now.account, kits: now.kits, changed });
  guarded(send)();
}

function fillChoices(choices = {}) {
  form.hidden = !now.kits.length;
  of("nothing-kept").hidden = !form.hidden;
  of("sign-in-first").hidden = now.outcome !== "signed out";
  of("join-first").hidden = now.outcome !== "fresh";
  of("fetch-first").hidden = !(of("sign-in-first").hidden && of("join-first").hidden);
  fill("club", now.kits.map(({ club, club_name }) => [club, club_name]), choices.club);
  of("club-field").hidden = now.kits.length < 2;
  fillFromKit(choices);
  for (const name of ["kind", "iso"]) if (choices[name]) form[name].value = choices[name];
  showKind();
}

function fillFromKit(choices = {}) {
  now.kit = now.kits.find(({ club }) => club === form.club.value);
  if (!now.kit) return;
  fill("camera", now.kit.cameras.map(({ code, name }) => [code, `${code}, ${name}`]), choices.camera);
  fill("paper", now.kit.papers.map(({ id, name }) => [id, name]), choices.paper);
}

/* Options for a select, the one chosen before kept if it is still there. */
function fill(name, options, wanted) {
  const select = form[name];
  const chosen = wanted ?? select.value;
  select.replaceChildren(...options.map(([value, text]) => new Option(text, value, false, value === chosen)));
}

function showKept() {
  const { kit } = now;
  if (!kit) {
    of("kept-says").textContent = "No cameras or papers are kept here.";
    return;
  }
  const counted = (cameras, papers) =>
    `${cameras} ${cameras === 1 ? "camera" : "cameras"} and ${papers} ${papers === 1 ? "paper" : "papers"}`;
  const { cameras, papers } = kit.left_out;
  const when = new Date(kit.reckoned_at).toLocaleString();
  of("kept-says").textContent =
    `${counted(kit.cameras.length, kit.papers.length)} of ${kit.club_name} for ${now.account}, reckoned ${when}.` +
    (cameras + papers ? ` ${counted(cameras, papers)} more were too many to take along.` : "");
}

/* ----------------------------------------------------------------------------------------------- the time to give */

function showKind() {
  for (const field of form.querySelectorAll("[data-for]")) {
    field.hidden = !field.dataset.for.split(" ").includes(form.kind.value);
  }
}

function answer() {
  const values = Object.fromEntries(new FormData(form));
  const fault = of("reading-fault");
  fault.textContent = "";
  now.reading = undefined;
  now.table = now.timer?.table ?? (now.kit && tableOf(now.kit, values.camera, values.paper));
  const told = form[form.kind.value].value.trim();
  for (const input of form.querySelectorAll("input")) input.removeAttribute("aria-invalid");
  if (now.table && told) {
    try {
      const filterStops = now.timer?.filterStops ?? plainNumber(values.filter.trim() || "0");
      if (!(filterStops >= 0 && filterStops <= 30)) {
        throw Object.assign(new Error("Give the filter in stops, from 0 to 30."), { key: "filter" });
      }
      const reading = readingOf(values);
      now.reading = { reading, ev100: readLight(reading), filterStops };
    } catch (refused) {
      fault.textContent = refused.message;
      form[refused.key || form.kind.value]?.setAttribute("aria-invalid", "true");
    }
  }
  showAnswer();
}

function showAnswer() {
  const ready = Boolean(now.reading);
  of("answer").hidden = !ready;
  of("start").hidden = Boolean(now.timer);
  of("light-changed").hidden = !now.timer || Boolean(now.timer.closedAt);
  of("start").disabled = of("light-changed").disabled = !ready;
  // While a timer runs only the light can change; while it is being judged nothing can.
  of("of-what").hidden = of("filter-field").hidden = Boolean(now.timer);
  of("time-title").textContent = now.timer ? "Another reading" : "Time to give";
  of("asking").hidden = Boolean(now.timer?.closedAt);
  if (!ready) return;
  const said = sayTimeIn(now.table, now.reading.ev100, now.reading.filterStops);
  of("give").textContent = said.give;
  of("range").textContent = said.range;
  paragraphs(of("doubts"), said.doubts);
  paragraphs(of("rests-on"), [`The meter asks for ${said.indicated}, before the paper's slowness.`, ...now.table.restsOn]);
}

function paragraphs(element, texts) {
  element.replaceChildren(
    ...texts.filter(Boolean).map((text) => Object.assign(document.createElement("p"), { textContent: text })),
  );
  element.hidden = !element.children.length;
}

form.addEventListener("input", guarded(async ({ target }) => {
  if (target.name === "club") fillFromKit();
  showKind();
  answer();
  const { club, camera, paper, kind, iso } = form;
  const choices = { club, camera, paper, kind, iso };
  await store.keep("choices", Object.fromEntries(Object.entries(choices).map(([name, { value }]) => [name, value])));
}));
form.addEventListener("submit", (event) => event.preventDefault());

/* ------------------------------------------------------------------------------------------------------ the timer */

async function keepTimer(timer) {
  now.timer = timer;
  await (timer ? store.keep("timer", timer) : store.forget("timer"));
  store.tellOthers();
  tick();
  answer();
}

of("start").addEventListener("click", guarded(async () => {
  alarm.prepare();
  const { table, reading } = now;
  const timer = {
    id: queue.newId(),
    account: now.account,
    club: now.kit.club,
    mayLog: now.kit.may_log,
    table,
    filterStops: reading.filterStops,
    segments: [],
    closedAt: null,
  };
  watch.start();
  await keepTimer(withLight(timer, reading.reading, Date.now()));
  of("close-now").focus();
}));
of("light-changed").addEventListener(
  "click",
  guarded(() => keepTimer(withLight(now.timer, now.reading.reading, Date.now()))),
);
of("close-now").addEventListener("click", guarded(() => closeAt(Date.now())));
of("closed-on-time").addEventListener("click", guarded(() => closeAt(stateOf(now.timer, Date.now()).closeAt)));
of("jump-turn").addEventListener("click", guarded(() => keepTimer(withJumpTurned(now.timer))));
of("discard").addEventListener("click", guarded(async () => {
  if (!(await ask("Throw this timer away? Nothing of it will be logged.", "Throw it away"))) return;
  alarm.letSleep();
  await keepTimer(undefined);
}));

async function closeAt(moment) {
  alarm.letSleep();
  await keepTimer({ ...now.timer, closedAt: moment });
  of("stops").querySelector("button").focus();
}

of("stops").addEventListener("click", guarded(async ({ target }) => {
  const { stops } = target.dataset;
  if (stops === undefined) return;
  const { timer } = now;
  await queue.add({ ...timer, body: entryOf(timer, stops === "" ? null : Number(stops)) });
  await keepTimer(undefined);
  await changed();
}));

function tick() {
  showTimer(now.timer);
}

/* A clock that jumps must not change the time given. One tab minds it for all. */
let minds = !navigator.locks;
navigator.locks?.request("pinpool-field-clock", () => ((minds = true), new Promise(() => {})));

async function mindClock() {
  const { timer } = now;
  const jump = watch.jump(minds && timer && !timer.closedAt ? timer.segments[0].at : undefined);
  if (jump) await keepTimer(withJump(timer, jump));
}

setInterval(guarded(() => (tick(), mindClock())), 250);

/* ---------------------------------------------------------------------------------------------------- the network */

const say = (text) => (of("state").textContent = text);
let nextTry;

async function send() {
  clearTimeout(nextTry);
  const { outcome, sent, pause_s, detail } = await queue.send();
  await showEntries({ account: now.account, kits: now.kits, changed });
  if (outcome === "signed out") askToSignIn();
  else if (outcome === "later") {
    say(`${detail} Trying again in ${Math.round(pause_s)} s; the entries are kept.`);
    nextTry = setTimeout(guarded(send), pause_s * 1000);
  } else if (sent) say(sent === 1 ? "1 entry is in the club's log." : `${sent} entries are in the club's log.`);
}

const SAID = {
  fresh: "Up to date.",
  away: "No signal: working with what this phone keeps.",
  wiped: "Nothing is fetched before you ask for it: this phone was wiped.",
};

async function refresh(asked = false) {
  now.outcome = await kits.refresh({ asked });
  if (now.outcome === "signed out") askToSignIn();
  else say(SAID[now.outcome]);
  await look();
}

/* What waits is sent even where the kits could not be kept. */
async function refreshAndSend() {
  try {
    await refresh();
  } finally {
    await send();
  }
}

function askToSignIn() {
  const link = Object.assign(document.createElement("a"), { href: page.dataset.signIn, textContent: "Sign in again" });
  const stays = now.account === undefined ? "entries" : `cameras, papers and entries of ${now.account}`;
  of("state").replaceChildren(`You are signed out here; ${stays} stay on this phone until you are back. `, link, ".");
}

of("refresh").addEventListener("click", guarded(() => refresh(true)));
of("send").addEventListener("click", guarded(send));
addEventListener("online", guarded(refreshAndSend));
addEventListener("offline", () => say(SAID.away));
document.addEventListener("visibilitychange", guarded(async () => {
  if (document.hidden) return;
  await look(); // what other tabs did while this one slept was not told to it
  if (now.timer && !now.timer.closedAt) alarm.stayAwake();
  await send();
}));
store.whenOthersChange(guarded(look));

/* ------------------------------------------------------------------------------------------------ file and wiping */

async function save() {
  const unsent = (await store.entries()).filter(({ account }) => account === now.account);
  const link = document.createElement("a");
  link.href = URL.createObjectURL(queue.asFile(unsent));
  link.download = `unsent-entries-${new Date().toISOString().slice(0, 10)}.json`;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
}

of("save").addEventListener("click", guarded(save));
of("wipe").addEventListener("click", guarded(async () => {
  const unsent = (await store.entries()).filter(({ account }) => account === now.account).length;
  of("wipe-save").hidden = !unsent;
  of("wipe-says").textContent = unsent
    ? `${unsent} unsent ${unsent === 1 ? "entry" : "entries"} would be gone for good, with cameras, papers and the timer.`
    : "Cameras, papers, choices and the timer go. Nothing unsent is here.";
  of("wipe-dialog").returnValue = ""; // or Escape would give the answer of the last time
  of("wipe-dialog").showModal();
}));
of("wipe-dialog").addEventListener("close", guarded(async () => {
  const { returnValue } = of("wipe-dialog");
  if (returnValue === "save") await save();
  if (returnValue === "wipe") {
    await kits.wipe(now.account);
    await look();
    say("Your data is off this phone.");
  }
}));

/* ---------------------------------------------------------------------------------------------------------- start */

/* Faults of the phone's own store (none in some private windows, full, blocked) are said, not swallowed, until the same
   work goes well, or whatever a person does next. */
function guarded(work) {
  return async (...given) => {
    try {
      await work(...given);
    } catch (fault) {
      failed = work;
      of("trouble").hidden = false;
      of("trouble").textContent = `This did not work: ${fault.message}`;
      throw fault;
    }
    if (work === failed || given[0]?.type === "click") of("trouble").hidden = true;
  };
}

/* Rejects once a worker could not be installed, as where one of its files did not come through. */
function gone(worker) {
  return new Promise((_, reject) => {
    worker?.addEventListener("statechange", () => worker.state === "redundant" && reject(new Error("not installed")));
  });
}

async function keepForOffline() {
  if (!("serviceWorker" in navigator)) {
    of("offline-says").textContent =
      "Without https this browser cannot open the page again without signal: leave it open, entries are kept all the same.";
    return;
  }
  const { installing, waiting } = await navigator.serviceWorker.register(page.dataset.worker, { scope: page.dataset.scope });
  if (waiting) {
    // Kept since the last visit. This page is all loaded, so it may give way to the new one.
    navigator.serviceWorker.addEventListener("controllerchange", () => location.reload(), { once: true });
    waiting.postMessage("take over");
  }
  await Promise.race([navigator.serviceWorker.ready, gone(installing)]);
  of("offline-says").textContent = "This page opens without signal from now on.";
  await navigator.storage?.persist?.();
}

guarded(async () => {
  await look();
  page.dataset.ready = "true";
  const keeping = keepForOffline().catch(() => {
    of("offline-says").textContent = "This page could not be kept for days without signal; it will be tried again.";
  });
  await refreshAndSend();
  await keeping;
})();
