// The answer to “How long to give”, below the form that asks it.

const place = document.getElementById("said")

document.getElementById("ask")?.addEventListener("sent", (event) => {
  const answer = event.detail.data
  const said = document.createDocumentFragment()
  const time = make("p", "figure", "")
  time.append(make("b", "", answer.exposure_time?.text ?? "no time would do"))
  time.append(make("span", "", `to give, where ${answer.indicated_time.text} is indicated`))
  said.append(time)
  said.append(make("p", "", `Right one time in two ${range(answer.interval_50)}, nine times in ten ${range(answer.interval)}.`))
  if (answer.test_strip.length) said.append(make("p", "", `As a test strip, one strip each: ${answer.test_strip.map((each) => each.text).join(", ")}.`))
  for (const sentence of answer.because) said.append(make("p", "quiet", sentence))
  for (const flag of answer.flags) said.append(make("p", "flag", flag.text))
  place.replaceChildren(said)
})

function range({ low, high }) {
  if (low && high) return `from ${low.text} to ${high.text}`
  return low ? `from ${low.text} on` : high ? `up to ${high.text}` : "anywhere"
}

function make(tag, name, text) {
  const made = document.createElement(tag)
  if (name) made.className = name
  made.textContent = text
  return made
}
