"""A data sheet's times as a law of its material: known of others, so never counted among the logs."""

from collections.abc import Sequence
from typing import ClassVar

import numpy as np

from exposures.models import Paper
from exposures.reciprocity.cells import Floats
from exposures.thinning import thinned
from optics.core.faults import Flag, Impossible
from optics.core.reciprocity import Law, Logs, TableLaw

#: How far straight lines in log-log between the rows of a law may be off it, in stops, where they are checked.
CHECKED_STOPS = 0.001
#: No law of a data sheet bends so often that it takes more. Design judgement.
MOST_ROWS = 400


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
    Straight lines in log-log between them are within 0.01 stop of the law. Raises `Impossible` where it takes too many.
    """

    def at(stops: Sequence[float]) -> Floats:
        return np.log2(law.correct(np.exp2(stops)))[:, np.newaxis]

    rows = np.exp2(thinned(at, checked_stops=CHECKED_STOPS))
    if len(rows) > MOST_ROWS:
        text = f"This law bends so often that its table takes {len(rows)} rows; at most {MOST_ROWS} are kept."
        raise Impossible("law_rough", text)
    return rows.tolist()
