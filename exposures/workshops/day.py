"""The order of a workshop's day: each block as long as its people, their exposures and their darkroom make it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from optics.core.faults import Impossible

#: How long what depends on nobody's figures takes, s; each time somebody loads a camera, and goes out to expose and
#: comes back. Design judgement, no source.
WELCOME_S, HOLE_S, LOADING_S, WALK_S, TIDYING_S = 900.0, 1200.0, 120.0, 600.0, 1800.0
#: After so long since the last pause there is one, so long. Design judgement.
UNTIL_PAUSE_S, PAUSE_S = 3 * 3600.0, 1800.0
#: Blocks begin on full five minutes.
ROUNDED_TO_S = 300.0


@dataclass(frozen=True)
class Block:
    """One part of the day, by the clock where it is held; `lasts_s` is what was reckoned, before rounding up."""

    what: str
    starts: datetime
    ends: datetime
    lasts_s: float
    text: str


def order_of_day(
    *,
    starts: datetime,
    places: int,
    stations: int,
    rounds: int,
    building_s: float,
    exposure_s: float,
    developing_s: float,
    washing_s: float,
) -> list[Block]:
    """Welcome, building, the hole, then for each negative of a place loading, exposing, developing; pauses between.

    All places work at once but for the darkroom: it is loaded in by as many as it has stations. A round waits for its
    last negative, so that everybody learns from one before the next. Raises `Impossible` where no calendar has the end.
    """
    loading_s = math.ceil(places / stations) * LOADING_S
    day = _Day(starts)
    day.add("welcome", WELCOME_S, "Who is here, what we make, and the cautions: blades, chemicals, the sun.")
    day.add("building", building_s, "Everybody builds the camera by its plan and the cutting templates.")
    day.add("hole", HOLE_S, "Everybody makes a hole, measures it and notes it at their place.")
    for number in range(1, rounds + 1):
        day.pause_if_due()
        turn = f"Negative {number} of {rounds}"
        day.add("loading", loading_s, f"{turn}: {stations} at a time load under the safelight.")
        day.add("exposing", WALK_S + exposure_s, f"{turn}: everybody at once, with the way out and back.")
        day.add("developing", developing_s, f"{turn}: one from every place, from the first in to the last out.")
    day.add("tidying", washing_s + TIDYING_S, "The last negatives wash; look at them all; tidy up, collect used fixer.")
    return day.blocks


class _Day:
    def __init__(self, starts: datetime) -> None:
        self.blocks: list[Block] = []
        self._now = self._rested = starts

    def add(self, what: str, lasts_s: float, text: str) -> None:
        try:
            ends = self._now + timedelta(seconds=math.ceil(lasts_s / ROUNDED_TO_S - 1e-9) * ROUNDED_TO_S)
        except OverflowError:
            text = "By the process's time and the building, this ends after the year 9999; check both."
            raise Impossible("no_such_day", text, "negatives_per_place") from None
        self.blocks.append(Block(what, self._now, ends, lasts_s, text))
        self._now = ends

    def pause_if_due(self) -> None:
        if (self._now - self._rested).total_seconds() >= UNTIL_PAUSE_S:
            self.add("pause", PAUSE_S, "Hands washed before anybody eats, and not in the darkroom.")
            self._rested = self._now


def length_s(blocks: Sequence[Block]) -> float:
    """From the first block to the end of the last."""
    return (blocks[-1].ends - blocks[0].starts).total_seconds()
