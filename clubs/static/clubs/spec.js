// Forms that ask for a camera's spec. A <select data-shows="…"> shows one of the fieldsets that name it (data-of) and
// their value (data-when), and puts the others aside. A bare length gets the page's unit behind it.

import { withUnit } from "../pinpool/lengths.js"

const unit = document.documentElement.dataset.lengths

for (const choice of document.querySelectorAll("select[data-shows]")) {
  choice.addEventListener("change", () => show(choice))
  show(choice)
}

function show(choice) {
  for (const part of choice.form.querySelectorAll(`fieldset[data-of="${choice.dataset.shows}"]`)) {
    part.hidden = part.disabled = part.dataset.when !== choice.value
  }
}

document.addEventListener("change", ({ target }) => {
  if (target.dataset.readsAs === "length") target.value = withItsUnit(target.value)
  if (target.dataset.readsAs === "points") {
    target.value = target.value.split("\n").map((line) => line.split(",").map(withItsUnit).join(", ")).join("\n")
  }
  if (target.dataset.readsAs === "resolution") target.value = withUnit(target.value, "dpi")
})

function withItsUnit(text) {
  const [, sign, size] = /^\s*([-−+]?)(.*)$/s.exec(text)
  return sign + withUnit(size, unit)
}
