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
  svg.setAttribute("width", "100%");
  shown = { svg, url, near: viewAbout(svg.querySelector("polygon")), whole: `0 0 ${width} ${height}` };
  zoom(false);
}

/* A square about an outline, as a viewBox. */
function viewAbout(polygon) {
  const [x, y] = ["x", "y"].map((axis) => [...polygon.points].map((point) => point[axis]));
  const [left, right, top, bottom] = [Math.min(...x), Math.max(...x), Math.min(...y), Math.max(...y)];
  const side = ABOUT * Math.max(right - left, bottom - top);
  return [(left + right - side) / 2, (top + bottom - side) / 2, side, side].join(" ");
}

function zoom(whole) {
  shown.svg.setAttribute("viewBox", whole ? shown.whole : shown.near);
  button.setAttribute("aria-pressed", String(whole));
}

button.addEventListener("click", () => zoom(button.getAttribute("aria-pressed") !== "true"));
