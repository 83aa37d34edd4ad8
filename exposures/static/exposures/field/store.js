/* What the field page keeps on the phone, in IndexedDB: entries of the log by their id, and everything else by name. */

const NAME = "pinpool-field";

let opening;

function database() {
  opening ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => {
      request.result.createObjectStore("entries", { keyPath: "id" });
      request.result.createObjectStore("kept");
    };
    request.onsuccess = () => {
      request.result.onversionchange = () => {
        request.result.close();
        opening = undefined;
      };
      // Some phones close it while the page sleeps: the next call opens it again.
      request.result.onclose = () => (opening = undefined);
      resolve(request.result);
    };
    request.onerror = () => reject(request.error);
  });
  opening.catch(() => (opening = undefined));
  return opening;
}

/* Runs `work(objectStore)` in one transaction and gives its request's result once everything is on disk. */
async function within(store, mode, work) {
  const opened = await database();
  return new Promise((resolve, reject) => {
    const transaction = opened.transaction(store, mode, { durability: "strict" });
    const request = work(transaction.objectStore(store));
    transaction.oncomplete = () => resolve(request.result);
    transaction.onerror = transaction.onabort = () => reject(transaction.error);
  });
}

/** What is kept under a name, or undefined. */
export const kept = (name) => within("kept", "readonly", (store) => store.get(name));
export const keep = (name, value) => within("kept", "readwrite", (store) => store.put(value, name));
export const forget = (name) => within("kept", "readwrite", (store) => store.delete(name));
export const keptNames = () => within("kept", "readonly", (store) => store.getAllKeys());

/* Within a transaction, forgets every name that is `gone(name)`. */
function forgetWhere(store, gone) {
  const names = store.getAllKeys();
  names.onsuccess = () => names.result.filter(gone).forEach((name) => store.delete(name));
}

/** Forget the names that are `gone(name)` and leave a mark {at, untilAsked}, by which `keepUnlessWiped` knows. */
export function wipe(mark, gone) {
  return within("kept", "readwrite", (store) => {
    forgetWhere(store, gone);
    return store.put(mark, "wiped");
  });
}

/** Keep values (a Map) and forget the names that are `gone(name)`, unless the phone was wiped since the mark's `at` was
    read: what was asked for before must not come back after. Gives whether it was done. */
export async function keepUnlessWiped(at, gone, values) {
  const mark = await within("kept", "readwrite", (store) => {
    const found = store.get("wiped");
    found.onsuccess = () => {
      if (found.result?.at !== at) return;
      forgetWhere(store, gone); // of the names before: what is kept now is not among them
      values.forEach((value, name) => store.put(value, name));
    };
    return found;
  });
  return mark?.at === at;
}

/** Every entry that is not on the server yet, or was refused there. */
export const entries = () => within("entries", "readonly", (store) => store.getAll());
export const keepEntry = (entry) => within("entries", "readwrite", (store) => store.put(entry));
/** Put an entry in the place of the one with an id, unless that is gone: wiped, or sent by another tab. */
export const replaceEntry = (id, entry) =>
  within("entries", "readwrite", (store) => {
    const found = store.getKey(id);
    found.onsuccess = () => {
      if (found.result === undefined) return;
      if (entry.id !== id) store.delete(id);
      store.put(entry);
    };
    return found;
  });
export const forgetEntry = (id) => within("entries", "readwrite", (store) => store.delete(id));

const channel = "BroadcastChannel" in globalThis ? new BroadcastChannel(NAME) : null;

/** Tell other tabs that something kept has changed. */
export function tellOthers() {
  channel?.postMessage("changed");
}

/** Run `work` whenever another tab has changed something. */
export function whenOthersChange(work) {
  channel?.addEventListener("message", work);
}
