// The reader's look and unit of lengths: on the page before it is painted, and kept for the next one.
// A cookie tells the server; where a page came from a phone's own store, the last choice stands in localStorage.
(() => {
  const root = document.documentElement
  Object.assign(root.dataset, document.querySelector('meta[name="pinpool"]').dataset)
  const kept = (name) => { try { return localStorage.getItem(`pinpool_${name}`) } catch { return null } }
  const keep = (name, value) => {
    try { localStorage.setItem(`pinpool_${name}`, value) } catch { /* private browsing: the cookie has it */ }
    document.cookie = `pinpool_${name}=${value}; path=/; max-age=31536000; samesite=lax`
  }
  for (const name of ["look", "lengths"]) if (kept(name) !== null) root.dataset[name] = kept(name)
  document.addEventListener("DOMContentLoaded", () => {
    for (const choice of document.querySelectorAll("select[data-keep]")) {
      const name = choice.dataset.keep
      choice.value = root.dataset[name]
      choice.addEventListener("change", () => {
        root.dataset[name] = choice.value
        keep(name, choice.value)
        root.dispatchEvent(new CustomEvent("kept", { detail: name }))
      })
    }
  })
})()
