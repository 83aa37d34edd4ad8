"""A template as SVG in true scale: four kinds of lines that can be told apart without colour, and labels."""

import re
from collections.abc import Iterable
from html import escape

import numpy as np

from optics.core.templates.template import Label, Line, Role, Template

#: Left, top, right and bottom, mm.
Box = tuple[float, float, float, float]

#: Colour, width in mm, and dashes and gaps in mm, of each kind of line.
STROKES: dict[Role, tuple[str, float, str]] = {
    "cut": ("#000", 0.35, ""),
    "fold": ("#000", 0.3, "2.5 1.5"),
    "centre": ("#000", 0.18, "7 1.2 0.9 1.2"),
    "guide": ("#555", 0.18, ""),
}
#: What each kind of line says to whoever holds the blade.
MEANINGS: dict[Role, str] = {
    "cut": "cut along it",
    "fold": "fold along it",
    "centre": "centre line",
    "guide": "place and measure by it",
}

#: Height of capitals as a share of the font size: 0.66 in Libertinus Serif, which printed sheets are set in, 0.69 in
#: Liberation Sans, 0.73 in DejaVu Sans [measured]. Letters come out as high as a label asks, or a little higher.
CAPITAL_SHARE = 0.66
#: How far letters reach below their baseline, and the room kept for one across, as shares of the font size. Measured
#: off the same: up to 0.24; 0.40 to 0.54, words in capitals up to 0.60.
DESCENT, LETTER_WIDTH = 0.24, 0.55
#: Characters that XML cannot hold. [W3C, Extensible Markup Language (XML) 1.0, production 2, from memory]
_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def template_svg(template: Template) -> str:
    """SVG whose unit is 1 mm, 1:1 when printed at its own size; points to a thousandth of a millimetre.

    Attributes only, no inline style. It says in words what it shows and, to a tenth of a millimetre, which lengths it
    promises.
    """
    said = f"{template.title}, {template.width_mm:.1f} × {template.height_mm:.1f} mm in true scale."
    if template.lengths:
        said += " Lengths: " + "; ".join(f"{each.name} {each.mm:.1f} mm" for each in template.lengths) + "."
    return document(
        template.width_mm,
        template.height_mm,
        title=template.title,
        said=said,
        body=strokes(template.lines) + words(template.labels),
    )


def legend() -> Template:
    """The four kinds of lines, each with its meaning beside it."""
    margin, long, step, letter = 2.0, 22.0, 6.0, 2.8
    lines, labels = [], []
    for row, (role, meaning) in enumerate(MEANINGS.items()):
        y = margin + (row + 0.5) * step
        lines.append(Line(role, ((margin, y), (margin + long, y))))
        labels.append(Label(margin + long + 3, y + letter / 2, meaning, letter, "start"))
    return Template(
        name="legend",
        title="What the lines mean",
        width_mm=max(label_box(label)[2] for label in labels) + margin,
        height_mm=len(lines) * step + 2 * margin,
        lines=tuple(lines),
        labels=tuple(labels),
        lengths=(),
    )


def document(width_mm: float, height_mm: float, *, title: str, said: str, body: str) -> str:
    """An SVG on white paper with `body`, elements already written, on it; `title` and `said` are plain texts."""
    width, height = f"{width_mm:.3f}", f"{height_mm:.3f}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}" role="img" font-family="sans-serif">'
        f"<title>{_escaped(title)}</title><desc>{_escaped(said)}</desc>"
        f'<rect x="0" y="0" width="{width}" height="{height}" fill="#fff"/>{body}</svg>'
    )


def strokes(lines: Iterable[Line]) -> str:
    """The lines as SVG elements, one group for each kind that is there."""
    shapes: dict[Role, list[str]] = {role: [] for role in STROKES}
    for line in lines:
        points = " ".join(f"{x:.3f},{y:.3f}" for x, y in line.points)
        shapes[line.role].append(f'<{"polygon" if line.closed else "polyline"} points="{points}"/>')
    return "".join(_group(role, "".join(drawn)) for role, drawn in shapes.items() if drawn)


def words(labels: Iterable[Label]) -> str:
    """The labels as SVG elements, their capitals `letter_mm` high."""
    return f'<g fill="#000">{"".join(map(_text, labels))}</g>'


def label_box(label: Label) -> Box:
    """The upright rectangle that holds a label as it is turned, mm; about as much as it takes, or more."""
    size = label.letter_mm / CAPITAL_SHARE
    width = LETTER_WIDTH * size * len(label.text)
    left = -{"start": 0.0, "middle": 0.5, "end": 1.0}[label.anchor] * width
    along = np.array([left, left + width, left + width, left])
    down = np.array([-label.letter_mm, -label.letter_mm, DESCENT * size, DESCENT * size])
    turn = np.radians(label.turned_deg)
    x = label.x_mm + along * np.cos(turn) - down * np.sin(turn)
    y = label.y_mm + along * np.sin(turn) + down * np.cos(turn)
    return float(x.min()), float(y.min()), float(x.max()), float(y.max())


def _group(role: Role, shapes: str) -> str:
    colour, width, dashes = STROKES[role]
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'<g fill="none" stroke="{colour}" stroke-width="{width}" stroke-linejoin="round"{dashed}>{shapes}</g>'


def _text(label: Label) -> str:
    x, y = f"{label.x_mm:.3f}", f"{label.y_mm:.3f}"
    turned = f' transform="rotate({label.turned_deg:g} {x} {y})"' if label.turned_deg else ""
    return (
        f'<text x="{x}" y="{y}" font-size="{label.letter_mm / CAPITAL_SHARE:.3f}" text-anchor="{label.anchor}"'
        f"{turned}>{_escaped(label.text)}</text>"
    )


def _escaped(text: str) -> str:
    return escape(_NOT_XML.sub("\ufffd", text), quote=False)
