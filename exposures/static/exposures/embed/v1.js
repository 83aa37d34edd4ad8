// A club's cameras, papers and times on any web page: <pinpool-camera>, <pinpool-exposure>, <pinpool-curve> and
// <pinpool-registry>. Their attributes: club; camera, by its code; paper, by its id; lengths, “mm” or “in”; server, where
// it is not the one that this script came from.
//
// One module that loads no other, so that its digest covers all of it. It asks, without cookies, for what the club lets
// everybody read. What stands inside an element, such as a link, is shown until the part is there and whenever it cannot
// be. Font and colours are the page's; --pinpool-accent, -line, -field, -radius and -gap set more. Texts become texts and
// drawings are built element by element, so neither a content security policy nor Trusted Types are in its way.

const HOME = new URL("../", import.meta.url)
const PATIENCE_MS = 20_000
const AWAY = "This part is not shown: its server is away, or does not let this site show it."
const OFF = "This part is not shown: the club does not let everybody see it."

const look = new CSSStyleSheet()
look.replaceSync(`
  :host { display: block; margin-block: var(--pinpool-gap, .6em); font: inherit; color: inherit; overflow-wrap: break-word; font-variant-numeric: tabular-nums;
    --accent: var(--pinpool-accent, currentColor); --gap: var(--pinpool-gap, .6em);
    --line: var(--pinpool-line, color-mix(in srgb, currentColor 45%, transparent)); }
  :host([hidden]), [hidden] { display: none !important; }
  p, dl, figure, form, .wide { margin: 0 0 var(--gap); }
  fieldset { display: contents; }
  .name, .time { font-weight: 700; font-size: 1.15em; }
  .time { font-size: 1.6em; line-height: 1.2; margin: var(--gap) 0 0; }
  .small, details { font-size: .9em; }
  dl { display: grid; grid-template-columns: auto 1fr; }
  dt, dd { margin: 0; padding: .25em 1.2em .25em 0; border-top: 1px solid var(--line); }
  svg { display: block; width: 100%; max-width: 26rem; height: auto; font-family: inherit; }
  .wide { overflow-x: auto; }
  table { border-collapse: collapse; width: 100%; }
  caption { text-align: start; font-weight: 700; padding-bottom: .3em; }
  th, td { text-align: start; vertical-align: top; padding: .3em .7em .3em 0; border-top: 1px solid var(--line); font-weight: inherit; }
  thead th { border-top: 0; font-weight: 600; }
  :is(th, td):last-child { padding-inline-end: 0; }
  .row { display: flex; flex-wrap: wrap; gap: 0 var(--gap); align-items: start; }
  .field { flex: 1 1 7em; min-width: 0; max-width: 20em; margin-bottom: var(--gap); }
  .broad { flex-basis: 13em; }
  label { display: block; font-weight: 600; }
  input, select, button { box-sizing: border-box; min-height: 2.75em; padding: .3em .6em; font: inherit; color: inherit;
    background: var(--pinpool-field, transparent); border: 1px solid currentColor; border-radius: var(--pinpool-radius, 3px); }
  input, select { width: 100%; }
  option { color: CanvasText; background: Canvas; }
  button { padding: .3em 1.1em; font-weight: 600; cursor: pointer; color: var(--accent); border: 2px solid var(--accent); }
  a { color: var(--accent); }
  [aria-invalid="true"] { border-width: 3px; }
  .fault { font-weight: 600; }
  .flag { border-inline-start: 3px solid currentColor; padding-inline-start: .6em; }
  summary { cursor: pointer; padding: .4em 0; }
  :focus-visible { outline: 3px solid currentColor; outline-offset: 2px; }
`)

/** A refusal that can be shown, with the faults of a problem document. */
class Refusal extends Error {
  constructor(text, errors = []) {
    super(text)
    this.errors = errors
  }
}

/** An element with attributes; children are elements and texts, empty ones left out. */
function make(tag, attributes = {}, ...children) {
  const made = document.createElement(tag)
  for (const [name, value] of Object.entries(attributes)) if (value !== false) made.setAttribute(name, value === true ? "" : value)
  made.append(...children.flat(Infinity).filter((child) => child || child === 0))
  return made
}

const SHAPES = new Set("svg g path rect circle line polyline polygon text tspan title desc".split(" "))

/** A drawing from the server's tree of [name, attributes, children]; only shapes and texts, nothing that acts or loads. */
function draw([name, attributes, children]) {
  if (!SHAPES.has(name)) return ""
  const made = document.createElementNS("http://www.w3.org/2000/svg", name)
  for (const [key, value] of Object.entries(attributes)) if (/^(?!on|style|href)[a-zA-Z-]+$/.test(key)) made.setAttribute(key, value)
  made.append(...children.map((child) => (typeof child === "string" ? child : draw(child))))
  return made
}

/** “1 min to 4 min”, with nothing on a side that nothing bounds. */
function range({ low, high }) {
  if (low && high) return `from ${low.text} to ${high.text}`
  return low ? `from ${low.text} on` : high ? `up to ${high.text}` : "anywhere"
}

/** What the parts share: when to ask, what to show meanwhile, and what where nothing comes. */
class Part extends HTMLElement {
  static observedAttributes = ["club", "camera", "paper", "lengths", "server"]
  static needs = ["club"]
  #going = new AbortController()

  constructor() {
    super()
    this.attachShadow({ mode: "open" }).adoptedStyleSheets = [look]
    this.shadowRoot.append(make("slot"))
  }

  connectedCallback() {
    this.#begin()
  }

  disconnectedCallback() {
    this.#going.abort()
  }

  attributeChangedCallback(_name, before, now) {
    if (this.isConnected && before !== now) this.#begin()
  }

  /** Ask anew, once for all attributes that change together. */
  async #begin() {
    this.#going.abort()
    const going = (this.#going = new AbortController())
    await null
    if (going.signal.aborted) return
    try {
      const missing = this.constructor.needs.find((name) => !this.getAttribute(name))
      if (missing) throw new Refusal(`This part is not shown: it lacks the attribute “${missing}”.`)
      const parts = await this.parts(going.signal)
      if (!going.signal.aborted) this.shadowRoot.replaceChildren(...parts)
    } catch (fault) {
      if (going.signal.aborted) return
      const why = make("p", { class: "small", part: "why" }, fault instanceof Refusal ? fault.message : AWAY)
      this.shadowRoot.replaceChildren(make("slot"), why)
    }
  }

  /** What the server says at a path below the club; raises `Refusal`, or anything else where no answer comes. */
  async ask(path, query, signal) {
    const server = this.hasAttribute("server") ? new URL(this.getAttribute("server"), document.baseURI) : HOME
    const steps = [this.getAttribute("club"), ...path].map(encodeURIComponent)
    const url = new URL(`api/v1/embed/${steps.join("/")}/`, server)
    for (const [name, value] of Object.entries(query)) if (value) url.searchParams.set(name, value)
    const patience = AbortSignal.any([signal, AbortSignal.timeout(PATIENCE_MS)])
    const answer = await fetch(url, { credentials: "omit", referrerPolicy: "no-referrer", signal: patience })
    const told = await answer.json()
    if (answer.ok) return told
    if (answer.status === 404) throw new Refusal(OFF)
    if (answer.status === 429) throw new Refusal("Too many have asked just now; try again in some minutes.")
    throw new Refusal(told.detail, told.errors)
  }

  get lengths() {
    return this.getAttribute("lengths")
  }
}

/** A camera's card. */
class Camera extends Part {
  static needs = ["club", "camera"]

  async parts(signal) {
    const it = await this.ask(["cameras", this.getAttribute("camera")], { lengths: this.lengths }, signal)
    const rows = it.figures.map(({ label, text }) => [make("dt", {}, label), make("dd", {}, text)])
    return [
      make("p", { class: "name" }, `${it.code}, ${it.name}`, it.retired && " (out of use)"),
      make("dl", {}, rows),
      it.drawing ? make("figure", {}, draw(it.drawing)) : "",
      make("p", {}, it.text),
    ]
  }
}

/** The club's cameras in use. */
class Registry extends Part {
  async parts(signal) {
    const rows = []
    for (let cursor = ""; cursor !== null; ) {
      const page = await this.ask(["cameras"], { lengths: this.lengths, page_size: "200", cursor }, signal)
      rows.push(...page.results)
      cursor = page.next && new URL(page.next).searchParams.get("cursor")
    }
    if (!rows.length) return [make("p", {}, "No camera is in use.")]
    const heads = ["Camera", ...rows[0].figures.map(({ label }) => label)]
    return [table("Cameras in use", heads, rows.map((it) => [`${it.code}, ${it.name}`, ...it.figures.map(({ text }) => text)]))]
  }
}

/** What a paper is like. */
class Curve extends Part {
  static needs = ["club", "paper"]

  async parts(signal) {
    const it = await this.ask(["papers", this.getAttribute("paper")], {}, signal)
    const rows = it.curve.map((at) => [
      at.indicated_time.text + (at.extrapolating ? " *" : ""), at.exposure_time?.text ?? "no time would do", range(at.interval),
    ])
    return [
      make("p", { class: "name" }, it.name),
      make("figure", {}, draw(it.drawing)),
      make("p", {}, `${it.text[0].toUpperCase()}${it.text.slice(1)}`),
      ...it.flags.map(({ text }) => make("p", { class: "flag" }, text)),
      make("details", {}, make("summary", {}, "The same in numbers"),
        table("Times to give", ["Indicated", "Give", "Right nine times in ten"], rows),
        make("p", { class: "small" }, "* outside the times that were logged.")),
    ]
  }
}

function table(title, heads, rows) {
  const cells = ([first, ...others]) => make("tr", {}, make("th", { scope: "row" }, first), others.map((text) => make("td", {}, text)))
  return make("div", { class: "wide", tabindex: "0", role: "region", "aria-label": title },
    make("table", {}, make("caption", {}, title),
      make("thead", {}, make("tr", {}, heads.map((text) => make("th", { scope: "col" }, text)))),
      make("tbody", {}, rows.map(cells))))
}

/** A field with its label; `name` is the query's. */
function field(name, label, attributes = {}) {
  const input = make("input", { id: name, name, autocomplete: "off", required: true, ...attributes })
  return make("div", { class: "field" }, make("label", { for: name }, label), input)
}

function choice(name, label, options) {
  const select = make("select", { id: name, name }, options.map(([value, text]) => make("option", { value }, text)))
  return make("div", { class: "field broad" }, make("label", { for: name }, label), select)
}

/** How long to expose with one camera. Without the attribute “paper” one may choose among all that the club shows. */
class Exposure extends Part {
  static needs = ["club", "camera"]

  async parts(signal) {
    const club = await this.ask([], {}, signal)
    const camera = club.cameras.find(({ code }) => code === this.getAttribute("camera").toUpperCase())
    const wanted = this.getAttribute("paper")
    const papers = club.papers.filter(({ id }) => !wanted || id === wanted)
    if (!camera || !papers.length) throw new Refusal(OFF)
    const told = make("div", { role: "status" })
    const form = make("form", {}, ...this.fields(camera, papers), make("button", {}, "Say how long"))
    form.addEventListener("submit", (event) => {
      event.preventDefault()
      this.answer(form, told, camera, signal)
    })
    form.elements.way.addEventListener("change", () => this.choose(form))
    this.choose(form)
    return [form, told, make("p", { class: "small" }, club.caution)]
  }

  fields(camera, papers) {
    const decimal = { inputmode: "decimal" }
    return [
      make("p", { class: "name" }, `${camera.code}, ${camera.name}`, papers.length === 1 && ` on ${papers[0].name}`),
      make("div", { class: "row", hidden: papers.length === 1 }, choice("paper", "Paper", papers.map(({ id, name }) => [id, name]))),
      make("div", { class: "row" },
        choice("way", "The light by", [["ev", "exposure value"], ["time", "a time at an f-number"]]),
        make("fieldset", { "data-way": "ev", "aria-label": "Exposure value" }, field("ev", "EV", decimal)),
        make("fieldset", { "data-way": "time", "aria-label": "Time at an f-number" },
          field("time", "Time", { placeholder: "1/60 s" }), field("f_number", "f-number", decimal)),
        field("iso", "Meter’s ISO", { ...decimal, value: "100" })),
    ]
  }

  /** Only the fields of the chosen way are there. */
  choose(form) {
    for (const set of form.querySelectorAll("[data-way]")) set.hidden = set.disabled = set.dataset.way !== form.elements.way.value
  }

  async answer(form, told, camera, signal) {
    if (form.ariaBusy === "true") return
    form.ariaBusy = "true"
    this.clear(form)
    try {
      const { way: _way, ...query } = Object.fromEntries(new FormData(form))
      told.replaceChildren(...this.said(await this.ask(["cameras", camera.code, "exposure"], query, signal)))
    } catch (fault) {
      if (!signal.aborted) told.replaceChildren(...this.refused(form, fault))
    }
    form.ariaBusy = "false"
  }

  said(it) {
    return [
      make("p", { class: "time" }, it.exposure_time?.text ?? "No time would do"),
      make("p", {}, `to give, where ${it.indicated_time.text} is indicated. Nine times in ten the right time lies ${range(it.interval)}.`),
      ...it.flags.map(({ text }) => make("p", { class: "flag" }, text)),
      it.test_strip.length > 1 ? make("p", {}, `As a test strip: ${it.test_strip.map(({ text }) => text).join(", ")}.`) : "",
      make("details", {}, make("summary", {}, "Why"), it.because.map((text) => make("p", {}, text))),
    ]
  }

  clear(form) {
    for (const input of form.querySelectorAll("[aria-invalid]")) {
      input.removeAttribute("aria-invalid")
      input.removeAttribute("aria-describedby")
    }
    for (const old of form.querySelectorAll(".fault")) old.remove()
  }

  /** Put each fault at its field; what has none is returned to be said below. */
  refused(form, fault) {
    const errors = fault instanceof Refusal ? (fault.errors ?? []) : []
    const left = errors.filter(({ pointer, detail }) => {
      const input = form.elements[pointer.slice(1)]
      if (!input || input.matches(":disabled")) return true
      const text = make("p", { class: "fault", id: `fault-${input.name}`, role: "alert" }, detail)
      input.setAttribute("aria-invalid", "true")
      input.setAttribute("aria-describedby", text.id)
      input.after(text)
      return false
    })
    form.querySelector("[aria-invalid]")?.focus()
    const texts = errors.length ? left.map(({ detail }) => detail) : [fault instanceof Refusal ? fault.message : AWAY]
    return texts.map((text) => make("p", { class: "fault" }, text))
  }
}

const parts = { camera: Camera, registry: Registry, curve: Curve, exposure: Exposure }
for (const [name, part] of Object.entries(parts)) {
  if (!customElements.get(`pinpool-${name}`)) customElements.define(`pinpool-${name}`, part) // another copy was here first
}
