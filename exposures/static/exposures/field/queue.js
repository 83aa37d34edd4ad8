/* Entries of the log on their way to the server: kept on the phone until it has them, nothing twice, nothing lost.

   An entry is {id, account, club, body, state: "waiting" | "refused", faults: [{pointer, detail}], madeAt}. Its id is
   the entry's own from the moment it is made, so sending it twice is the same entry. */

import { Away, Problem, call, isStale, renewToken } from "../../pinpool/api.js";
import * as store from "./store.js";

const AT_ONCE = 50;
const PATIENCE_MS = 20_000;
const PATIENCE_FOR_OTHERS_MS = 30_000;
const SHORTEST_PAUSE_S = 2;
const LONGEST_PAUSE_S = 300;
/* A network that wants a sign-in of its own answers everything with a page. */
const NOT_OURS = "Something other than the service answered; is there a network to sign in to?";

/** A new id for an entry. Over plain http a browser offers no randomUUID. */
export function newId() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/(.{8})(.{4})(.{4})(.{4})(.{12})/, "$1-$2-$3-$4-$5");
}

/** Keep an entry of `account` until the server has it. */
export async function add({ account, club, body }) {
  await store.keepEntry({ id: body.id, account, club, body, state: "waiting", faults: [], madeAt: Date.now() });
  store.tellOthers();
}

/** Put a refused entry back among the waiting ones, as it was mended. An id that another entry has gets a new one. */
export async function mend(entry, changes) {
  const taken = entry.faults.some(({ pointer }) => pointer === "/id");
  const body = { ...entry.body, ...changes, id: taken ? newId() : entry.id };
  await store.replaceEntry(entry.id, { ...entry, id: body.id, body, state: "waiting", faults: [] });
  store.tellOthers();
}

let failures = 0;

/** Send what waits. Gives {outcome, sent, pause_s, detail}: `outcome` is "done", "signed out", or "later" with the pause
    until the next try. Only one tab sends at a time, unless that one seems to sleep; sending twice is still once. */
export async function send() {
  if (!navigator.locks) return sendWaiting();
  const patience = new AbortController();
  const sleeping = setTimeout(() => patience.abort(), PATIENCE_FOR_OTHERS_MS);
  let asked = { signal: patience.signal };
  for (;;) {
    let begun = false;
    const work = () => ((begun = true), clearTimeout(sleeping), sendWaiting());
    try {
      return await navigator.locks.request("pinpool-field-send", asked, work);
    } catch (fault) {
      if (fault.name !== "AbortError") throw fault;
      if (begun) return { outcome: "done", sent: 0 }; // another tab took over
      asked = { steal: true };
    }
  }
}

async function sendWaiting() {
  const waiting = (await store.entries()).filter(({ state }) => state === "waiting");
  if (!waiting.length) return { outcome: "done", sent: 0 };
  let sent = 0;
  try {
    // Whoever signs in after this makes the token stale, so nothing goes under a name that was not asked for.
    await renewToken(AbortSignal.timeout(PATIENCE_MS));
    const account = (await ask("GET", "accounts/me/")).data.username;
    const own = waiting.filter((entry) => entry.account === account).sort((a, b) => a.madeAt - b.madeAt);
    for (const club of new Set(own.map((entry) => entry.club))) {
      const ofClub = own.filter((entry) => entry.club === club);
      for (let first = 0; first < ofClub.length; first += AT_ONCE) {
        sent += await sendSome(club, ofClub.slice(first, first + AT_ONCE));
      }
    }
    failures = 0;
    return { outcome: "done", sent };
  } catch (fault) {
    if (fault instanceof Problem && fault.status === 401) return { outcome: "signed out", sent };
    if (!isPassing(fault)) throw fault;
    failures += 1;
    const pause_s = Math.min(SHORTEST_PAUSE_S * 2 ** (failures - 1), LONGEST_PAUSE_S);
    return { outcome: "later", sent, pause_s: Math.max(pause_s, fault.retryAfter ?? 0), detail: fault.message };
  } finally {
    store.tellOthers();
  }
}

/* What another try may mend: no network, too many calls, a fault of the server, or somebody else who signed in. */
function isPassing(fault) {
  if (fault instanceof Away) return true;
  return fault instanceof Problem && (fault.status >= 500 || [408, 429].includes(fault.status) || isStale(fault));
}

async function ask(method, path, more = {}) {
  const answer = await call(method, path, { signal: AbortSignal.timeout(PATIENCE_MS), sameSession: true, ...more });
  if (!answer.data) throw new Away(NOT_OURS);
  return answer;
}

/* Sends some entries of one club; what the server has is forgotten here, what it refuses is kept with its reasons. */
async function sendSome(club, entries) {
  let results;
  try {
    const body = entries.map((entry) => entry.body);
    ({ results } = (await ask("POST", `clubs/${club}/exposures/bulk/`, { body })).data);
  } catch (fault) {
    if (!(fault instanceof Problem) || fault.status === 401 || isPassing(fault)) throw fault;
    const faults = [{ pointer: "", detail: fault.detail || fault.title }];
    for (const entry of entries) await store.replaceEntry(entry.id, { ...entry, state: "refused", faults });
    return 0;
  }
  let sent = 0;
  for (const [place, { outcome, errors }] of results.entries()) {
    if (outcome === "refused") {
      const faults = errors.map(({ pointer, detail }) => ({ pointer: pointer.replace(`/${place}`, ""), detail }));
      await store.replaceEntry(entries[place].id, { ...entries[place], state: "refused", faults });
    } else {
      await store.forgetEntry(entries[place].id);
      sent += 1;
    }
  }
  return sent;
}

/** Entries as a file to keep elsewhere. */
export function asFile(entries) {
  const text = JSON.stringify({ format: "pinpool-unsent-entries", version: 1, entries }, null, 2);
  return new Blob([text], { type: "application/json" });
}
