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
/** Everything kept under names that begin so. */
export const keptUnder = (start) =>
  within("kept", "readonly", (store) => store.getAll(IDBKeyRange.bound(start, `${start}\uffff`)));
export const keptNames = () => within("kept", "readonly", (store) => store.getAllKeys());

/** Every entry that is not on the server yet, or was refused there. */
export const entries = () => within("entries", "readonly", (store) => store.getAll());
export const keepEntry = (entry) => within("entries", "readwrite", (store) => store.put(entry));
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
