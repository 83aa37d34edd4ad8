"""What a cutting template is: lines and labels on a rectangle of paper, and the lengths it promises.

Everything is in mm from the template's upper left corner, x to the right and y down, as it comes out of the printer.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

Point = tuple[float, float]
#: What a line is for: cut along it, fold along it, a centre line, or only to place and measure by.
Role = Literal["cut", "fold", "centre", "guide"]
#: The smallest letters on a template, mm high.
LEAST_LETTER_MM = 2.4
#: A curve is drawn as a polyline that lies no farther off it than this.
SAGITTA_MM = 0.01


@dataclass(frozen=True)
class Line:
    """A polyline through `points` (two at least); `closed` joins the last to the first."""

    role: Role
    points: tuple[Point, ...]
    closed: bool = False


@dataclass(frozen=True)
class Label:
    """A short text with its baseline's `anchor` at (x, y), turned clockwise by `turned_deg`."""

    x_mm: float
    y_mm: float
    text: str
    letter_mm: float = 3.0
    anchor: Literal["start", "middle", "end"] = "middle"
    turned_deg: float = 0.0


@dataclass(frozen=True)
class Length:
    """A length that the template promises: along `points`, straight from one to the next, `mm` long in all."""

    name: str
    mm: float
    points: tuple[Point, ...]

    @property
    def drawn_mm(self) -> float:
        """How long `points` are as drawn."""
        steps = np.diff(np.array(self.points), axis=0)
        return float(np.hypot(steps[:, 0], steps[:, 1]).sum())


@dataclass(frozen=True)
class Template:
    """One piece to cut, fold or place, `width_mm` × `height_mm` with everything on it.

    `name` is a stable key, `title` what a person calls the piece, `notes` sentences on how to use it. Names of
    `lengths` are unique; each is the value computed by the core, and a test measures it on the printed page. Where not
    `turns`, what is said of it speaks of its left and its upper edge, and it is printed no other way.
    """

    name: str
    title: str
    width_mm: float
    height_mm: float
    lines: tuple[Line, ...]
    labels: tuple[Label, ...]
    lengths: tuple[Length, ...]
    notes: tuple[str, ...] = ()
    turns: bool = True


@dataclass(frozen=True)
class LeftOut:
    """A template that this camera has none of, and why, in one sentence."""

    name: str
    title: str
    reason: str
