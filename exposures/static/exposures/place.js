// A workshop place: one fieldset for each counted reading, an id for each new exposure, and times by this phone's clock.

const readings = document.getElementById("readings")

function addReading() {
  const number = readings.children.length
  const made = document.getElementById("reading").content.cloneNode(true)
  made.querySelector("legend").textContent = `Reading ${number + 1}`
  for (const field of made.querySelectorAll("[data-key]")) {
    field.id = field.name = `readings/${number}/${field.dataset.key}`
    field.previousElementSibling.htmlFor = field.id
  }
  made.querySelector("select").selectedIndex = number % 2
  readings.append(made)
}

/** A random UUID (version 4), also where the page does not come by https. */
function newId() {
  const hex = [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("")
  const variant = "89ab"[Number.parseInt(hex[16], 16) % 4]
  return `${hex.slice(0, 8)}-${hex.slice(8, 12)}-4${hex.slice(13, 16)}-${variant}${hex.slice(17, 20)}-${hex.slice(20)}`
}

if (readings) {
  addReading()
  document.getElementById("add").addEventListener("click", () => {
    addReading()
    readings.lastElementChild.querySelector("input").focus()
  })
  document.getElementById("note").elements.id.value = newId()
}
for (const time of document.querySelectorAll("time[data-local]")) {
  time.textContent = new Date(time.dateTime).toLocaleString("en-GB", { dateStyle: "medium", timeStyle: "short" })
}
