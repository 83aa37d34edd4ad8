// Drawings that come from our own API as text.

/** Put an SVG in place of what `element` holds; nothing of it can run or load. */
export function showDrawing(element, text) {
  const read = new DOMParser().parseFromString(text, "image/svg+xml")
  const svg = read.documentElement
  if (svg.localName !== "svg" || read.querySelector("parsererror, script, foreignObject")) return
  element.replaceChildren(document.importNode(svg, true))
}
