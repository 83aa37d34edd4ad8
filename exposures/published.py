"""A data sheet's reciprocity table as a law of its material: known of others, so never counted among the logs."""

from typing import ClassVar

from exposures.models import Paper
from optics.core.faults import Flag
from optics.core.reciprocity import TableLaw


class PublishedLaw(TableLaw):
    """The law of a data sheet, which says of itself that the club did not find it."""

    flags: ClassVar[tuple[Flag, ...]] = (
        Flag("published_law", "This is the maker's figure; the club has no log of its own to hold against it."),
    )


def published_law(paper: Paper) -> PublishedLaw | None:
    """The law of the paper's data sheet, if one was entered."""
    if paper.published_rows_s is None:
        return None
    return PublishedLaw(tuple((float(indicated), float(corrected)) for indicated, corrected in paper.published_rows_s))
