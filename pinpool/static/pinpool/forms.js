// Forms whose fields are a call's JSON body: <form data-send="POST" action="…">.
//
// A field's name is a JSON pointer without its first slash; data-as says what it is if not a text (number, boolean, json,
// list: lines, or pairs: two to a line with a comma). Empty fields are left out, unless data-empty is "null", "blank" or "list";
// so are disabled ones, by themselves or by their fieldset. data-at of a hidden field: the id of the one that shows its faults. A file makes it multipart.
// data-etag goes along as If-Match (data-fetch-etag asks for it first). data-confirm asks before. data-then: "reload", or
// an address in which {key} stands for the answer's key. data-show names a key of the answer to show here.

import { call } from "./api.js"

document.addEventListener("submit", (event) => {
  const form = event.target.closest("form[data-send]")
  if (!form) return
  event.preventDefault()
  submit(form)
})

async function submit(form) {
  if (form.getAttribute("aria-busy") === "true") return
  clear(form)
  if (form.dataset.confirm && !(await confirmed(form.dataset.confirm))) return
  form.setAttribute("aria-busy", "true")
  try {
    const url = form.getAttribute("action")
    const etag = form.hasAttribute("data-fetch-etag") ? (await call("GET", url)).etag : form.dataset.etag
    const sent = await call(form.dataset.send, url, { ...content(form), etag })
    form.dispatchEvent(new CustomEvent("sent", { bubbles: true, detail: sent }))
    if (done(form, sent.data)) return // busy until the next page is here, or a second click would send again
  } catch (fault) {
    refused(form, fault)
  }
  form.removeAttribute("aria-busy")
}

addEventListener("pageshow", ({ persisted }) => {
  if (!persisted) return // a page come back to as it was left
  for (const form of document.querySelectorAll("form[aria-busy]")) form.removeAttribute("aria-busy")
})

/** What a form holds, as {body} or, with files, {form}. */
export function content(form) {
  const files = [...form.elements].some((field) => field.type === "file" && field.files.length)
  if (files) {
    const data = new FormData(form)
    for (const [name, value] of [...data]) if (value === "") data.delete(name)
    return { form: data }
  }
  if (form.dataset.send === "DELETE") return {}
  const body = {}
  for (const field of form.elements) {
    if (!field.name || field.matches(":disabled") || field.type === "file" || (field.type === "radio" && !field.checked)) continue
    const value = valueOf(field)
    if (value !== undefined) put(body, field.name.split("/"), value)
  }
  return { body }
}

function valueOf(field) {
  if (field.type === "checkbox") return field.checked
  const text = "whole" in field.dataset ? field.value : field.value.trim()
  if (text === "") return { null: null, blank: "", list: [] }[field.dataset.empty]
  switch (field.dataset.as) {
    case "number": return Number.isFinite(Number(text)) ? Number(text) : text
    case "boolean": return text === "true"
    case "json": try { return JSON.parse(text) } catch { return text }
    case "list": return linesOf(text)
    case "pairs": return linesOf(text).map((line) => line.split(",").map((part) => part.trim()))
    default: return text
  }
}

function linesOf(text) {
  return text.split("\n").map((line) => line.trim()).filter(Boolean)
}

function put(body, keys, value) {
  const last = keys.pop()
  for (const [at, key] of keys.entries()) body = body[key] ??= /^\d+$/.test(keys[at + 1] ?? last) ? [] : {}
  body[last] = value
}

function clear(form) {
  for (const old of form.querySelectorAll(".fault, .problem, .done")) old.remove()
  for (const field of form.querySelectorAll("[aria-invalid]")) {
    field.removeAttribute("aria-invalid")
    if (field.dataset.described) field.setAttribute("aria-describedby", field.dataset.described)
    else field.removeAttribute("aria-describedby")
  }
}

/** Show a refusal: each fault at its field, the rest at the form's head. */
export function refused(form, fault) {
  const errors = [...(fault.errors ?? [])]
  const unplaced = errors.filter((error) => !mark(form, error))
  const texts = unplaced.length ? unplaced.map((error) => error.detail) : errors.length ? [] : [fault.detail ?? fault.message]
  if (fault.status === 412) texts.push("Somebody changed it meanwhile: load the page again, then say it again.")
  if (fault.status >= 500 && fault.requestId) texts.push(`Should you ask about it, tell this request's number: ${fault.requestId}`)
  for (const text of texts.reverse()) form.prepend(paragraph("problem", text, "alert"))
  const first = form.querySelector("[aria-invalid]")
  first?.focus()
}

function mark(form, error) {
  let pointer = error.pointer.replace(/^\//, "")
  while (pointer) {
    const named = [...form.elements].find((each) =>
      !each.matches(":disabled") && (each.type !== "hidden" || each.dataset.at) &&
      (each.name === pointer || each.name.startsWith(`${pointer}/`)))
    const field = named?.dataset.at ? document.getElementById(named.dataset.at) : named
    if (field) {
      const text = paragraph("fault", error.detail)
      text.id = `fault-${crypto.getRandomValues(new Uint32Array(1))[0]}`
      const described = field.getAttribute("aria-describedby")
      if (!field.hasAttribute("aria-invalid")) field.dataset.described = described ?? ""
      field.setAttribute("aria-invalid", "true")
      field.setAttribute("aria-describedby", [described, text.id].filter(Boolean).join(" "))
      ;(field.closest(".field") ?? field.parentElement).append(text)
      return true
    }
    pointer = pointer.slice(0, Math.max(pointer.lastIndexOf("/"), 0))
  }
  return false
}

/** Say or do what comes after; true where that is another page. */
function done(form, data) {
  const then = form.dataset.then
  if (form.dataset.show && data) {
    const shown = paragraph("done", `${form.dataset.showLabel ?? ""} `, "status")
    shown.append(Object.assign(document.createElement("code"), { textContent: data[form.dataset.show] }))
    form.append(shown)
  } else if (then === "reload") location.reload()
  else if (then) location.assign(then.replace(/\{(\w+)\}/g, (_, key) => encodeURIComponent(data[key])))
  else form.append(paragraph("done", data?.detail ?? "Saved.", "status"))
  return Boolean(then) && !then.startsWith("#") && !form.dataset.show
}

function paragraph(name, text, role) {
  const made = document.createElement("p")
  made.className = name
  made.textContent = text
  if (role) made.setAttribute("role", role)
  return made
}

/** Ask in a dialog; true for yes. */
export function confirmed(question) {
  const dialog = document.createElement("dialog")
  const form = Object.assign(document.createElement("form"), { method: "dialog" })
  const yes = Object.assign(document.createElement("button"), { value: "yes", textContent: "Yes" })
  const no = Object.assign(document.createElement("button"), { value: "no", textContent: "No", className: "plain" })
  const text = paragraph("", question)
  text.id = "dialog-question"
  dialog.setAttribute("aria-labelledby", text.id)
  form.append(text, yes, no)
  dialog.append(form)
  document.body.append(dialog)
  dialog.showModal()
  return new Promise((resolve) => {
    dialog.addEventListener("close", () => {
      dialog.remove()
      resolve(dialog.returnValue === "yes")
    })
  })
}
