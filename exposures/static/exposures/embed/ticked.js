// Boxes that make one list: those ticked in <fieldset data-ticked="cameras"> go, as JSON, into the field “cameras”.

function fill(set) {
  const ticked = [...set.querySelectorAll("input:checked")].map((box) => box.value)
  set.form.elements[set.dataset.ticked].value = JSON.stringify(ticked)
}

for (const set of document.querySelectorAll("[data-ticked]")) fill(set)
document.addEventListener("change", (event) => {
  const set = event.target.closest("[data-ticked]")
  if (set) fill(set)
})
