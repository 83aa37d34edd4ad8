// A packet from another server: the file's JSON is the call's body.

import { call } from "../pinpool/api.js"
import { refused } from "../pinpool/forms.js"

document.getElementById("receive")?.addEventListener("submit", async (event) => {
  event.preventDefault()
  const form = event.target
  for (const old of form.querySelectorAll(".fault, .problem")) old.remove()
  try {
    await call("POST", form.dataset.to, { body: JSON.parse(await form.elements.packet.files[0].text()) })
    location.reload()
  } catch (fault) {
    refused(form, fault instanceof SyntaxError ? { detail: "This file holds no packet: it is not JSON." } : fault)
  }
})
