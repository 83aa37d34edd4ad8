/* On the page where one signs out: what the field page keeps in this browser of whoever does goes first. */

import { leave } from "./kit.js";

/* A store that does not answer must not keep anybody signed in. */
const PATIENCE_MS = 2000;
const form = document.getElementById("sign-out");
let left = false;

form.addEventListener("submit", async (event) => {
  if (left) return;
  event.preventDefault();
  event.stopPropagation();
  await Promise.race([leave().catch(() => {}), new Promise((resolve) => setTimeout(resolve, PATIENCE_MS))]);
  left = true;
  form.requestSubmit();
});
