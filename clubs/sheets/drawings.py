"""What a drawing on a sheet may hold: shapes and texts, and nothing that reaches for a file, a font or the network."""

import math
import re
from collections.abc import Iterator
from typing import Any
from xml.etree.ElementTree import Element, register_namespace, tostring

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import ParseError, fromstring

SVG = "http://www.w3.org/2000/svg"
#: The largest SVG, in characters and in elements.
MOST_CHARACTERS, MOST_ELEMENTS, MOST_DEEP = 500_000, 20_000, 32
#: The longest text that stands for a drawing.
MOST_ALT = 2_000

_SHAPES = {"g", "path", "rect", "circle", "ellipse", "line", "polyline", "polygon", "text", "tspan", "title", "desc"}
_ATTRIBUTES = {
    "x", "y", "x1", "y1", "x2", "y2", "dx", "dy", "cx", "cy", "r", "rx", "ry", "width", "height", "points", "d",
    "transform", "rotate", "textLength", "lengthAdjust", "fill", "fill-opacity", "fill-rule", "opacity", "stroke",
    "stroke-width", "stroke-dasharray", "stroke-dashoffset", "stroke-linecap", "stroke-linejoin", "stroke-miterlimit",
    "stroke-opacity", "font-family", "font-size", "font-weight", "font-style", "text-anchor", "dominant-baseline",
    "letter-spacing", "word-spacing", "shape-rendering", "paint-order", "vector-effect", "role", "id", "aria-label",
    "aria-labelledby",
}  # fmt: skip
_ROOT_ATTRIBUTES = _ATTRIBUTES | {"viewBox"}
#: In a value: a reference to something else.
_REFERENCE = re.compile(r"url\s*\(|:|\\|/\*|@", re.IGNORECASE)

register_namespace("", SVG)


def read_drawing(svg: str, *, width_mm: float, height_mm: float) -> tuple[str, list[str]]:
    """The drawing written anew from what was checked, without its own size, and a sentence for each fault."""
    if len(svg) > MOST_CHARACTERS:
        return "", [f"the drawing has {len(svg)} characters; at most {MOST_CHARACTERS} are set."]
    try:
        root = fromstring(svg, forbid_dtd=True)
    except DefusedXmlException:
        return "", ["the drawing declares a document type or entities; it must be plain SVG."]
    except (ParseError, ValueError) as fault:
        return "", [f"the drawing is not well-formed XML: {fault}."]
    faults = [*_frame_faults(root, width_mm, height_mm), *dict.fromkeys(_faults(root))]
    if faults:
        return "", faults[:20]
    for size in ("width", "height"):
        root.attrib.pop(size, None)
    return tostring(root, encoding="unicode"), []


def framed(svg: str, *, caption: str = "") -> dict[str, Any]:
    """A drawing of the core as a block of a sheet: its viewBox moved to begin at 0 0, its `desc` as what it says."""
    root = fromstring(svg)
    x, y, width, height = map(float, root.attrib["viewBox"].split())
    moved = Element(f"{{{SVG}}}g", {"transform": f"translate({-x:.3f} {-y:.3f})"})
    described = root.findtext(f"{{{SVG}}}desc") or root.findtext(f"{{{SVG}}}title") or caption
    moved.extend(list(root))
    for child in list(root):
        root.remove(child)
    root.append(moved)
    root.set("viewBox", f"0 0 {width:.3f} {height:.3f}")
    block = {"kind": "drawing", "svg": tostring(root, encoding="unicode"), "width_mm": width, "height_mm": height}
    return block | {"alt": described[:MOST_ALT], "caption": caption, "true_scale": False}


def _frame_faults(root: Element, width_mm: float, height_mm: float) -> Iterator[str]:
    if root.tag != f"{{{SVG}}}svg":
        yield f"the drawing's root is {_named(root.tag)}, not an SVG of {SVG}."
        return
    wanted = (0.0, 0.0, width_mm, height_mm)
    try:
        box = tuple(float(part) for part in root.get("viewBox", "").replace(",", " ").split())
    except ValueError:
        box = ()
    if len(box) != 4 or not all(
        math.isclose(a, b, rel_tol=1e-6, abs_tol=2e-3) for a, b in zip(box, wanted, strict=True)
    ):
        yield (
            f"the drawing's viewBox is “{root.get('viewBox', '')[:60]}”; it must be “0 0 {width_mm:g} {height_mm:g}”, "
            "one unit a millimetre."
        )


def _faults(root: Element) -> Iterator[str]:
    seen = 0
    waiting = [(root, 0)]
    while waiting:
        element, deep = waiting.pop()
        seen += 1
        if seen > MOST_ELEMENTS or deep > MOST_DEEP:
            yield f"the drawing has over {MOST_ELEMENTS} elements, or over {MOST_DEEP} inside each other."
            return
        name = element.tag.removeprefix(f"{{{SVG}}}") if isinstance(element.tag, str) else "?"
        if element is not root and name not in _SHAPES:
            yield f"a drawing may not hold {_named(element.tag)}; there are {', '.join(sorted(_SHAPES))}."
        known = _ROOT_ATTRIBUTES if element is root else _ATTRIBUTES
        for attribute, value in element.attrib.items():
            if attribute not in known:
                yield f"a drawing's {_named(name)} may not have {_named(attribute)}."
            elif _REFERENCE.search(value) and attribute != "aria-label":
                yield f"a drawing's {attribute} may not refer to anything: “{value[:60]}”."
        waiting += [(child, deep + 1) for child in element]


def _named(name: object) -> str:
    return f"“{str(name)[:60]}”"
