/* A question before something is gone for good. The browser's own would be a white flash in the dark. */

/** Ask in the page's dialog; gives whether the answer was `yes`. */
export function ask(question, yes) {
  const dialog = document.getElementById("ask");
  dialog.querySelector("p").textContent = question;
  dialog.querySelector("[value=yes]").textContent = yes;
  dialog.returnValue = "";
  dialog.showModal();
  return new Promise((resolve) => {
    dialog.addEventListener("close", () => resolve(dialog.returnValue === "yes"), { once: true });
  });
}
