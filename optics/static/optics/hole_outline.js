/* A measured outline over the picture it was found in. The picture is shown from this device; it came from no server. */
import { showDrawing } from "../pinpool/svg.js";

const SVG = "http://www.w3.org/2000/svg";
/* How much of the picture is shown about the hole, in sizes of the hole. */
const ABOUT = 1.6;

const button = document.querySelector("#whole");
let shown = null;

/** Put the outline over the picture, near the hole; `note` says so where the browser cannot show the picture. */
export function showOutline(place, note, outline, picture) {
  if (shown) URL.revokeObjectURL(shown.url);
  showDrawing(place, outline);
  const svg = place.firstElementChild;
  const { width, height } = svg.viewBox.baseVal;
  const image = document.createElementNS(SVG, "image");
  const url = URL.createObjectURL(picture);
  image.setAttribute("width", width);
  image.setAttribute("height", height);
  image.setAttribute("href", url);
  note.textContent = "";
  image.addEventListener("error", () => {
    image.remove();
    note.textContent = "This browser cannot show such a picture, so the outline stands alone.";
  });
  svg.querySelector("g").before(image);
  const hole = svg.querySelector("polygon").getBBox();
  const side = ABOUT * Math.max(hole.width, hole.height);
  const near = [hole.x + hole.width / 2 - side / 2, hole.y + hole.height / 2 - side / 2, side, side];
  shown = { svg, url, near: near.join(" "), whole: `0 0 ${width} ${height}` };
  zoom(false);
}

function zoom(whole) {
  shown.svg.setAttribute("viewBox", whole ? shown.whole : shown.near);
  button.setAttribute("aria-pressed", String(whole));
}

button.addEventListener("click", () => zoom(button.getAttribute("aria-pressed") !== "true"));
