"""A template in the making: lines, labels and lengths in any coordinates, moved onto their paper at the end."""

from collections.abc import Sequence
from typing import Literal

import numpy as np

from optics.core.faults import Impossible

from .svg import Box, label_box
from .template import SAGITTA_MM, Label, Length, Line, Point, Role, Template

#: A template's key and what a person calls it.
Named = tuple[str, str]

#: Bare paper left round everything on a template, mm.
MARGIN_MM = 3.0
#: How high the letters of a label are, mm.
LETTER_MM = 2.5
#: From one line of words to the next, as a share of their height.
LINE_STEP = 1.8

BLADE_CAUTION = (
    "Cut away from your hands, along a steel rule, with a sharp blade on a cutting mat, and follow your workshop's "
    "own rules."
)


def at_least(least_mm: float, **sizes_mm: float) -> None:
    """Refuse a size under `least_mm`, infinite or no number; the fault's field is its name without the unit."""
    for name, size in sizes_mm.items():
        if not (np.isfinite(size) and size >= least_mm):
            raise Impossible(
                "too_small", f"This length must be {least_mm:g} mm or more, not {size:g} mm.", name.removesuffix("_mm")
            )


def say_mm(*sizes_mm: float) -> str:
    """“24.3 x 18.1 mm”, to a tenth of a millimetre."""
    return " x ".join(f"{size:.1f}" for size in sizes_mm) + " mm"


def words_width_mm(text: str) -> float:
    """The room kept for one line of words."""
    left, _, right, _ = label_box(Label(0.0, 0.0, text, LETTER_MM))
    return right - left


class Draft:
    """Draw in any coordinates, x to the right and y down; `template` moves all of it onto paper that just holds it."""

    def __init__(self) -> None:
        self._lines: list[Line] = []
        self._labels: list[Label] = []
        self._lengths: list[Length] = []

    def line(self, role: Role, *points: Point, closed: bool = False) -> None:
        self._lines.append(Line(role, points, closed))

    def rectangle(self, role: Role, box: Box) -> None:
        left, top, right, bottom = box
        self.line(role, (left, top), (right, top), (right, bottom), (left, bottom), closed=True)

    def circle(self, role: Role, x: float, y: float, radius_mm: float) -> None:
        """As a polygon with corners at right, left, top and bottom, nowhere more than `SAGITTA_MM` off the circle."""
        step = 2 * np.arccos(max(1 - SAGITTA_MM / radius_mm, 0.5))
        count = 4 * int(np.ceil(np.pi / 2 / step))
        turn = np.arange(count) * (2 * np.pi / count)
        self.line(role, *_pairs(x + radius_mm * np.cos(turn), y + radius_mm * np.sin(turn)), closed=True)

    def centre_lines(self, x: float, y: float, across_mm: float, down_mm: float) -> None:
        """A level and an upright centre line that reach so far to both sides of (x, y)."""
        self.line("centre", (x - across_mm, y), (x + across_mm, y))
        self.line("centre", (x, y - down_mm), (x, y + down_mm))

    def length(self, name: str, mm: float, *points: Point) -> None:
        self._lengths.append(Length(name, mm, points))

    def words(self, x: float, y: float, *texts: str, anchor: Literal["start", "middle", "end"] = "middle") -> None:
        """One line of words under the other, all of them below y."""
        for row, text in enumerate(texts, start=1):
            self._labels.append(Label(x, y + row * LINE_STEP * LETTER_MM, text, LETTER_MM, anchor))

    @property
    def box(self) -> Box:
        """What everything drawn so far takes, words among it."""
        points = [point for line in self._lines for point in line.points]
        for left, top, right, bottom in map(label_box, self._labels):
            points += [(left, top), (right, bottom)]
        x, y = zip(*points, strict=True)
        return min(x), min(y), max(x), max(y)

    def template(self, named: Named, *notes: str) -> Template:
        left, top, right, bottom = self.box
        dx, dy = MARGIN_MM - left, MARGIN_MM - top

        def moved(points: Sequence[Point]) -> tuple[Point, ...]:
            return tuple((float(x + dx), float(y + dy)) for x, y in points)

        name, title = named
        return Template(
            name=name,
            title=title,
            width_mm=float(right - left + 2 * MARGIN_MM),
            height_mm=float(bottom - top + 2 * MARGIN_MM),
            lines=tuple(Line(line.role, moved(line.points), line.closed) for line in self._lines),
            labels=tuple(
                Label(*moved([(label.x_mm, label.y_mm)])[0], label.text, label.letter_mm, label.anchor)
                for label in self._labels
            ),
            lengths=tuple(Length(each.name, float(each.mm), moved(each.points)) for each in self._lengths),
            notes=notes,
        )


def _pairs(x: np.ndarray, y: np.ndarray) -> tuple[Point, ...]:
    return tuple(zip(x.tolist(), y.tolist(), strict=True))
