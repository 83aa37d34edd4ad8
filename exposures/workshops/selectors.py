"""What may be read of workshops inside the club."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from django.db.models import Count, QuerySet
from django.http import Http404

from clubs.models import Club
from exposures.pooled import pooled
from exposures.selectors import law_of
from exposures.workshops.holes import f_number_of
from exposures.workshops.models import Place, PlaceExposure, Workshop
from optics.core.faults import Impossible
from optics.core.light import Light
from optics.core.reciprocity import Law

#: Indicated times between which a law is turned round, as log₂ of seconds: beyond all that can be told or logged.
_STOPS = np.linspace(-40.0, 60.0, 2001)


def workshops_in(*, club: Club) -> QuerySet[Workshop]:
    rows = Workshop.objects.filter(club=club).select_related("club", "design", "paper", "leader")
    return rows.annotate(places_count=Count("places"))


def workshop_in(*, club: Club, number: int) -> Workshop:
    found = workshops_in(club=club).filter(pk=number).first()
    if found is None:
        raise Http404
    return found


def places_of(*, workshop: Workshop) -> QuerySet[Place]:
    rows = Place.objects.filter(workshop=workshop).select_related("workshop__design", "workshop__paper", "user")
    return rows.select_related("camera").annotate(exposures_count=Count("exposures"))


def place_in(*, workshop: Workshop, number: int) -> Place:
    """The place of this number in the workshop."""
    found = places_of(workshop=workshop).filter(number=number).first()
    if found is None:
        raise Http404
    return found


@dataclass(frozen=True)
class PlaceResult:
    """An exposure of a place beside what the club would have given.

    `recommended_s` is the time by the club's logs of the paper, at the f-number of the place, whatever the camera and
    whoever exposes; `given_stops` how far the time given is over (+) or under that one in its effect, and `off_stops`
    how far the result is off even so. None where the logs have no answer or there is no result.
    """

    entry: PlaceExposure
    f_number: float
    indicated_s: float
    recommended_s: float | None
    given_stops: float | None
    off_stops: float | None


def exposures_of(*, workshop: Workshop) -> QuerySet[PlaceExposure]:
    rows = PlaceExposure.objects.filter(place__workshop=workshop)
    return rows.select_related("place__workshop__design")


def results_of(*, workshop: Workshop, entries: list[PlaceExposure]) -> list[PlaceResult]:
    """Entries of one workshop beside what the club would have given, in the order given."""
    if not entries:
        return []
    try:
        law = law_of(pooled(workshop.club), workshop.paper)
    except Impossible:  # the logs contradict each other
        law = None
    times = None if law is None else np.log2(law.correct(2.0**_STOPS))
    return [_result(entry, workshop.paper.nominal_exposure_index, law, times) for entry in entries]


def _result(entry: PlaceExposure, index: float, law: Law | None, times: Any) -> PlaceResult:
    """`times` are the law's, as log₂ of seconds, for indicated ones of `_STOPS`."""
    facts: dict[str, Any] = entry.facts
    f_number = f_number_of(entry.place)
    indicated = Light(facts["ev100"]).time_s(f_number=f_number, exposure_index=index) * 2 ** facts["filter_stops"]
    if law is None:
        return PlaceResult(entry, f_number, indicated, None, None, None)
    asked, result, off = float(np.log2(indicated)), facts["result"], None

    def effect_stops(time_s: float) -> float:
        """Which indicated time, as log₂ of seconds, this one is right for."""
        return float(np.interp(np.log2(time_s), times, _STOPS))

    given = effect_stops(facts["exposure_time_s"]) - asked
    if result is not None:
        right = result["right_time_s"]
        off = asked - effect_stops(right) if right is not None else result["stops"] - given
    return PlaceResult(entry, f_number, indicated, float(law.correct(indicated)), given, off)
