// Keeps a workshop's tables fresh: asks every few seconds while they are on the screen, and swaps them where they changed.

const EVERY_MS = 4000
const live = document.getElementById("live")
const state = document.getElementById("live-state")
let etag = null

async function look() {
  if (document.hidden) return
  let response
  try {
    const headers = etag ? { "If-None-Match": etag } : {}
    response = await fetch(live.dataset.live, { headers, cache: "no-store", redirect: "manual" }) // signed out: no tables
  } catch {
    state.textContent = "The service cannot be reached; the tables are those of before."
    return
  }
  if (response.ok) {
    show(await response.text())
    etag = response.headers.get("ETag")
  }
  const known = response.ok || response.status === 304
  state.textContent = known ? "The tables above follow what is told at the places." : "The tables are no longer kept fresh: load the page again."
}

/** Put tables in the place of others, made and escaped by our own service; who scrolls in one stays where they are. */
function show(tables) {
  const kept = [...live.querySelectorAll(".wide")].map((each) => [each.scrollLeft, each === document.activeElement])
  live.innerHTML = tables
  for (const [place, each] of live.querySelectorAll(".wide").entries()) {
    const [scrolled, focused] = kept[place] ?? [0, false]
    if (focused) each.focus({ preventScroll: true })
    each.scrollLeft = scrolled
  }
}

if (live) {
  setInterval(look, EVERY_MS)
  document.addEventListener("visibilitychange", look)
}
