"""How large the writing of a drawing must be so that it can still be read where the drawing is shown."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

_MM_PER_PX = 25.4 / 96  # a CSS pixel
#: Letters this much too small count as large enough.
_NEAR = 0.999


@dataclass(frozen=True)
class Shown:
    """Where a drawing is shown: the most room it has there, the least letter height, all in mm as seen there.

    A drawing fills its room, but is drawn no larger than `most_scale` times its own size.
    """

    wide_mm: float
    high_mm: float
    letter_mm: float
    most_scale: float

    def letter(self, size: Callable[[float], tuple[float, float]]) -> float:
        """The least letter height, in the drawing's own mm, that can be read; `size(letter)` is width and height.

        Needs a drawing with room for its writing: of `letter` high letters fewer than `wide_mm / letter_mm` across
        and fewer than `high_mm / letter_mm` down, however little else is drawn.
        """
        letter = self.letter_mm / min(self.most_scale, 1e6)
        while letter * (scale := self.scale(*size(letter))) < _NEAR * self.letter_mm:
            letter = self.letter_mm / scale
        return letter

    def scale(self, wide_mm: float, high_mm: float) -> float:
        """How many times its own size a drawing is shown at."""
        return min(self.wide_mm / wide_mm, self.high_mm / high_mm, self.most_scale)


#: The room for a drawing on a phone 360 px wide, which has less than 480 px of height to spare, and 11 px letters.
ON_PHONE = Shown(300 * _MM_PER_PX, 480 * _MM_PER_PX, 11 * _MM_PER_PX, np.inf)
#: A drawing on a printed sheet (`clubs/sheets/sheet.typ`), and letters of 7 points, 2.5 mm.
ON_SHEET = Shown(176.0, 80.0, 2.5, 1.0)
