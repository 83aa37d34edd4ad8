"""Register marks in the strip that two neighbouring tiles share."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from optics.core.templates.svg import Box
from optics.core.templates.template import LEAST_LETTER_MM, SAGITTA_MM, Label, Line

#: From a mark's middle to the ends of its cross, and the radius of its circle as a share of that.
MARK_REACH_MM, CIRCLE_SHARE = 2.5, 0.6


@dataclass(frozen=True)
class Mark:
    """A cross with a circle on it, within `reach_mm` of (x, y); `label` stands beside it along the strip."""

    name: str
    x_mm: float
    y_mm: float
    reach_mm: float
    label: Label

    @property
    def lines(self) -> tuple[Line, ...]:
        x, y, reach, radius = self.x_mm, self.y_mm, self.reach_mm, CIRCLE_SHARE * self.reach_mm
        sides = int(np.ceil(np.pi / np.arccos(1 - min(SAGITTA_MM / radius, 0.5))))
        turn = np.linspace(0, 2 * np.pi, sides, endpoint=False)
        circle = zip((x + radius * np.cos(turn)).tolist(), (y + radius * np.sin(turn)).tolist(), strict=True)
        return (
            Line("guide", ((x - reach, y), (x + reach, y))),
            Line("guide", ((x, y - reach), (x, y + reach))),
            Line("guide", tuple(circle), closed=True),
        )


def joint_marks(joint: str, strip: Box, *, crossed: tuple[bool, bool]) -> tuple[Mark, Mark]:
    """The marks `joint`/1 and `joint`/2 wholly in a strip longer than wide, as far apart as they can be.

    `crossed` says whether another strip as wide crosses its upper or left end, and its lower or right one; marks keep
    clear of a crossing if the strip is long enough.
    """
    left, top, right, bottom = strip
    upright = bottom - top > right - left
    wide, first, last = (right - left, top, bottom) if upright else (bottom - top, left, right)
    reach = min(MARK_REACH_MM, wide / 4)
    ends = first + reach + crossed[0] * wide, last - reach - crossed[1] * wide
    if ends[1] - ends[0] < 4 * reach:
        ends = first + reach, last - reach

    def mark(number: int, along: float, anchor: Literal["start", "end"]) -> Mark:
        beside = along + (reach + half_letter) * (1 if anchor == "start" else -1)
        name = f"{joint}/{number}"
        if upright:
            middle = (left + right) / 2
            return Mark(name, middle, along, reach, Label(middle - half_letter, beside, name, letter, anchor, 90.0))
        middle = (top + bottom) / 2
        return Mark(name, along, middle, reach, Label(beside, middle + half_letter, name, letter, anchor))

    letter, half_letter = LEAST_LETTER_MM, LEAST_LETTER_MM / 2
    return mark(1, ends[0], "start"), mark(2, ends[1], "end")
