/* What the phone takes along of each club: fetched where there is signal, looked up where there is none. */

import { Away, Problem, call } from "../../pinpool/api.js";
import * as store from "./store.js";

/* A kit is reckoned and is large; whatever takes longer than this is no signal. */
const PATIENCE_MS = 60_000;

const nameOf = (account, club) => `kit ${account} ${club}`;

/** The account that was last signed in here, or undefined. */
export const lastAccount = () => store.kept("account");

/** Every kit of an account, by its club's name. */
export async function kitsOf(account) {
  const kits = await store.keptUnder(nameOf(account, ""));
  return kits.sort((a, b) => a.club_name.localeCompare(b.club_name));
}

/** Fetch the kits of all clubs of whoever is signed in. Gives "fresh", "signed out" or "away"; what is kept stays. */
export async function refresh() {
  try {
    const account = (await ask("accounts/me/")).username;
    const clubs = (await ask("clubs/?page_size=200")).results;
    const kits = await Promise.all(clubs.map(({ slug }) => ask(`clubs/${slug}/field-kit/`)));
    if ((await ask("accounts/me/")).username !== account) return refresh(); // or these would be kept under another's name
    for (const name of await store.keptNames()) {
      const gone = name.startsWith(nameOf(account, "")) && !kits.some(({ club }) => name === nameOf(account, club));
      if (gone) await store.forget(name);
    }
    for (const kit of kits) await store.keep(nameOf(account, kit.club), kit);
    await store.keep("account", account);
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
  for (const name of await store.keptNames()) {
    if (name.startsWith(nameOf(account, "")) || name === "account" || name === "choices") await store.forget(name);
  }
  if ((await store.kept("timer"))?.account === account) await store.forget("timer");
  for (const entry of await store.entries()) {
    if (entry.account === account) await store.forgetEntry(entry.id);
  }
  store.tellOthers();
}
