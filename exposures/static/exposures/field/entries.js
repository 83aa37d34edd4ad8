/* Showing the entries that are on the phone: how many wait, and each that was refused, to be mended. */

import { ask } from "./ask.js";
import * as queue from "./queue.js";
import * as store from "./store.js";

const of = (id) => document.getElementById(id);

/** Show what waits for `account` and what was refused; `changed` is called after an entry was mended or thrown away. */
export async function showEntries({ account, kits, changed }) {
  const all = await store.entries();
  const own = all.filter((entry) => entry.account === account);
  const waiting = own.filter(({ state }) => state === "waiting").length;
  const refused = own.filter(({ state }) => state === "refused");
  const others = all.length - own.length;
  const whose = account === undefined ? "whoever made it signs" : "they sign";
  of("waiting").textContent =
    (waiting ? `${count(waiting)} ${waiting === 1 ? "waits" : "wait"} for signal.` : "No entry waits on this phone.") +
    (refused.length ? ` ${count(refused.length)} the club's log would not take; mend below.` : "") +
    (others ? ` ${count(others)} ${account === undefined ? "" : "of somebody else "}will go when ${whose} in here.` : "");
  of("send").hidden = !waiting;
  of("save").hidden = !own.length;
  const before = [...of("refused").children];
  const shown = new Map(before.map((card) => [card.dataset.id, card]));
  // What is being mended stays as it is while the list around it changes; put in anew it would lose the cursor.
  const cards = refused.map((entry) => shown.get(keyOf(entry)) ?? cardOf(entry, kits, changed));
  if (cards.length !== before.length || cards.some((card, place) => card !== before[place])) {
    of("refused").replaceChildren(...cards);
  }
}

/** “1 entry”, “2 entries”. */
const count = (number) => (number === 1 ? "1 entry" : `${number} entries`);
const keyOf = (entry) => `${entry.id} ${entry.faults.map(({ detail }) => detail).join(" ")}`;

function cardOf(entry, kits, changed) {
  const card = of("refused-entry").content.firstElementChild.cloneNode(true);
  const form = card.querySelector("form");
  const kit = kits.find(({ club }) => club === entry.club);
  const { body } = entry;
  card.dataset.id = keyOf(entry);
  card.querySelector("h3").textContent = `${body.camera}, ${new Date(body.taken_at).toLocaleString()}`;
  options(form.camera, kit?.cameras.map(({ code, name }) => [code, `${code}, ${name}`]) ?? [], body.camera);
  options(form.paper, kit?.papers.map(({ id, name }) => [id, name]) ?? [], body.paper);
  form.exposure_time.value = body.exposure_time;
  form.note.value = body.note ?? "";
  for (const field of card.querySelectorAll(".field")) {
    const [label, input] = field.children;
    label.htmlFor = input.id = `${entry.id}-${input.name}`;
  }
  for (const { pointer, detail } of entry.faults) {
    const named = form.elements[pointer.slice(1)];
    const where = named ? `${named.previousElementSibling.textContent}: ` : "";
    card.querySelector(".problem").append(Object.assign(document.createElement("p"), { textContent: where + detail }));
    named?.setAttribute("aria-invalid", "true");
  }
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    // At once: a second tap would send an entry with a new id twice.
    form.querySelector("button").disabled = true;
    await queue.mend(entry, Object.fromEntries(new FormData(form)));
    await changed();
  });
  card.querySelector("[data-drop]").addEventListener("click", async () => {
    if (!(await ask("Throw this entry away? It is nowhere but on this phone.", "Throw it away"))) return;
    await store.forgetEntry(entry.id);
    store.tellOthers();
    await changed();
  });
  return card;
}

/* A select's options; what was chosen stays one of them even where the phone no longer knows it. */
function options(select, known, chosen) {
  const all = known.some(([value]) => value === chosen) ? known : [[chosen, chosen], ...known];
  select.replaceChildren(...all.map(([value, text]) => new Option(text, value, false, value === chosen)));
}
