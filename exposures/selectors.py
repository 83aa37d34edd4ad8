"""What may be read of papers and logs, and what the logs say."""

import uuid
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet
from django.http import Http404

from clubs.models import Club
from clubs.selectors import membership_in
from exposures.models import ExposureLog, Paper, evidence
from exposures.reciprocity.estimate import PaperEstimate, estimate
from optics.core.faults import Impossible


def papers_in(*, club: Club) -> QuerySet[Paper]:
    return Paper.objects.filter(club=club)


def paper_in(*, club: Club, id: uuid.UUID) -> Paper:  # noqa: A002  (the contract's key)
    found = papers_in(club=club).filter(pk=id).first()
    if found is None:
        raise Http404
    return found


@dataclass(frozen=True)
class PaperKnown:
    """A paper and what its logs say."""

    paper: Paper
    estimate: PaperEstimate

    @property
    def exposure_index(self) -> float:
        return self.estimate.exposure_index(self.paper.nominal_exposure_index)


def estimate_of(paper: Paper) -> PaperKnown:
    return PaperKnown(paper, estimate(*evidence(paper)))


def exposures_in(*, club: Club) -> QuerySet[ExposureLog]:
    return ExposureLog.objects.filter(club=club).select_related("spec__camera", "member")


def exposure_in(*, club: Club, id: uuid.UUID) -> ExposureLog:  # noqa: A002  (the contract's key)
    found = exposures_in(club=club).filter(id=id).first()
    if found is None:
        raise Http404
    return found


def law_of_paper(*, paper: str, actor: Any) -> PaperEstimate:
    """The pooled law of a paper by id, for whoever may read its club; anything else is as if it did not exist."""
    missing = Impossible("unknown_paper", "There is no such paper, or none that you may see. Sign in?", "paper")
    try:
        found = Paper.objects.select_related("club").get(pk=uuid.UUID(paper))
    except (Paper.DoesNotExist, ValueError):
        raise missing from None
    if not actor.is_authenticated:
        raise missing
    try:
        membership_in(actor=actor, club=found.club.slug, action="read_exposures")
    except Http404:
        raise missing from None
    return estimate_of(found).estimate
