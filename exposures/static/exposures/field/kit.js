/* What the phone takes along of each club: fetched where there is signal, looked up where there is none. */

import { Away, Problem, call } from "../../pinpool/api.js";
import * as store from "./store.js";

/* A kit is reckoned and is large; whatever takes longer than this is no signal. */
const PATIENCE_MS = 60_000;

/* A club's part of the name has no space, an account's may: the last space is the one between them. */
const nameOf = (account, club) => `kit ${account} ${club}`;
const accountIn = (name) => /^kit (.*) \S+$/s.exec(name)?.[1];

/* What else is kept of whoever is signed in. */
const NAMES = ["account", "choices"];

/** The account that was last signed in here, or undefined. */
export const lastAccount = () => store.kept("account");

/** Whether the phone was wiped, so that nothing is fetched before somebody asks. */
export const waitsToBeAsked = async () => Boolean((await store.kept("wiped"))?.untilAsked);

/** Every kit of an account, by its club's name. */
export async function kitsOf(account) {
  const names = (await store.keptNames()).filter((name) => accountIn(name) === account);
  const kits = (await Promise.all(names.map(store.kept))).filter(Boolean);
  return kits.sort((a, b) => a.club_name.localeCompare(b.club_name));
}

/** Fetch the kits of all clubs of whoever is signed in, `asked` to by a person or not. Gives "fresh", "signed out",
    "away", or "wiped" where the phone was and nobody asked since; except where it is fresh, what is kept stays. */
export async function refresh({ asked = false } = {}) {
  if (asked) await store.keep("wiped", { ...(await store.kept("wiped")), untilAsked: false });
  const wiped = await store.kept("wiped");
  if (wiped?.untilAsked) return "wiped";
  try {
    const account = (await ask("accounts/me/")).username;
    const clubs = (await ask("clubs/?page_size=200")).results;
    const kits = await Promise.all(clubs.map(({ slug }) => ask(`clubs/${slug}/field-kit/`)));
    if ((await ask("accounts/me/")).username !== account) return refresh(); // or these would be kept under another's name
    const fresh = new Map(kits.map((kit) => [nameOf(account, kit.club), kit]));
    const gone = (name) => accountIn(name) === account && !fresh.has(name);
    if (!(await store.keepUnlessWiped(wiped?.at, gone, fresh.set("account", account)))) return "wiped";
    store.tellOthers();
    return "fresh";
  } catch (fault) {
    if (fault instanceof Away || (fault instanceof Problem && (fault.status >= 500 || fault.status === 429))) return "away";
    if (fault instanceof Problem && fault.status === 401) return "signed out";
    throw fault;
  }
}

async function ask(path) {
  const { data } = await call("GET", path, { signal: AbortSignal.timeout(PATIENCE_MS) });
  if (!data) throw new Away("Something other than the service answered.");
  return data;
}

/** Wipe what the phone keeps of an account: kits, the timer, choices, and its entries. Others' entries stay. */
export async function wipe(account) {
  const timer = await store.kept("timer");
  const names = timer?.account === account ? ["timer", ...NAMES] : NAMES;
  const gone = (name) => (account !== undefined && accountIn(name) === account) || names.includes(name);
  await store.wipe({ at: Date.now(), untilAsked: true }, gone);
  for (const entry of await store.entries()) {
    if (entry.account === account) await store.forgetEntry(entry.id);
  }
  store.tellOthers();
}

/** Whoever was signed in here leaves: all kits and choices go, a timer that runs and every unsent entry stays. */
export async function leave() {
  await store.wipe({ at: Date.now(), untilAsked: false }, (name) => accountIn(name) !== undefined || NAMES.includes(name));
  store.tellOthers();
}
