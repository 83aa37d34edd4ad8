"""A data sheet's times as a law of its material: known of others, so never counted among the logs."""

from collections.abc import Sequence
from typing import ClassVar

import numpy as np

from exposures.models import Paper
from exposures.reciprocity.cells import Floats
from exposures.thinning import Reckoner, thinned
from optics.core.faults import Flag, Impossible
from optics.core.reciprocity import STEEPEST, Law, Logs, TableLaw
from optics.core.say import say_time

#: How far straight lines in log-log between the rows of a law may be off it, in stops, where they are checked.
CHECKED_STOPS = 0.001
#: No law of a data sheet bends so often that it takes more. Design judgement.
MOST_ROWS = 400
#: Halvings after which what is left of a rise is a jump, if it is still more than half of it.
MOST_HALVINGS = 24


class PublishedLaw(TableLaw):
    """The law of a data sheet, which says of itself that the club did not find it."""

    flags: ClassVar[tuple[Flag, ...]] = (
        Flag("published_law", "This is the maker's figure; the club has no log of its own to hold against it."),
    )


class SampledLaw(PublishedLaw):
    """The law of a data sheet that gives a formula, by the rows taken from it: straight in log-log between them."""

    def between(self, indicated: Logs, corrected: Logs, x: Logs) -> Logs:
        return np.interp(x, indicated, corrected)


def published_law(paper: Paper) -> PublishedLaw | None:
    """The law of the paper's data sheet, if one was entered."""
    if paper.published_rows_s is None:
        return None
    kind = SampledLaw if paper.published_law else PublishedLaw
    return kind(tuple((float(indicated), float(corrected)) for indicated, corrected in paper.published_rows_s))


def rows_of(law: Law) -> list[list[float]]:
    """(indicated, corrected) times in s of a law, from 1/128 s to 24 days, taken once, when it is entered.

    So an archive, a phone and a server without the law's plug-in give the same times as the server that had it.
    Straight lines in log-log between them are within 0.01 stop of the law. Raises `Impossible` where it takes too many,
    or where the law does not rise, jumps, is steeper than a table may be, or asks for less than the indicated time.
    """

    def at(stops: Sequence[float]) -> Floats:
        return np.log2(law.correct(np.exp2(stops)))[:, np.newaxis]

    rows = thinned(at, checked_stops=CHECKED_STOPS)
    _refuse_unlike_sheets(at, *rows.T)
    if len(rows) > MOST_ROWS:
        text = f"This law bends so often that its table takes {len(rows)} rows; at most {MOST_ROWS} are kept."
        raise Impossible("law_rough", text)
    return np.exp2(rows).tolist()


def _refuse_unlike_sheets(at: Reckoner, x: Floats, y: Floats) -> None:
    """Refuse a law by its rows, log₂ of indicated times `x` and of times to give `y`, (n,), saying where it fails."""
    rise, run = np.diff(y), np.diff(x)
    if (rise <= 0).any():
        where = say_time(2 ** x[:-1][rise <= 0][0])
        raise Impossible("law_order", f"Just past {where} this law asks for no longer exposure: let it rise all along.")
    if (rise > STEEPEST * run).any():
        steep = int((rise > STEEPEST * run).argmax())
        low, left = _steepest_part(at, x[steep : steep + 2], y[steep : steep + 2])
        where = say_time(2**low)
        if left > rise[steep] / 2:
            text = f"At {where} this law jumps by a factor of {2**left:.3g}: let it rise steadily."
            raise Impossible("law_jumps", text)
        text = f"Just past {where} this law rises faster than the fifth power of the indicated time. "
        raise Impossible("law_steep", text + "Smooth its start, or lower its parameters.")
    if (short := np.exp2(y - x) < 1 - 1e-9).any():
        where = say_time(2 ** x[short][0])
        text = f"At {where} this law asks for less than the indicated time, which no data sheet does."
        raise Impossible("law_shortens", text)


def _steepest_part(at: Reckoner, x: Floats, y: Floats) -> tuple[float, float]:
    """Where the part between two rows that rises most begins, found by halving, and how much it rises still."""
    for _ in range(MOST_HALVINGS):
        middle = x.mean()
        between = at([middle])[0, 0]
        end = 0 if y[1] - between > (between - y[0]) * (1 + 1e-6) else 1  # the one that is given up
        x, y = x.copy(), y.copy()
        x[end], y[end] = middle, between
    return float(x[0]), float(y[1] - y[0])
