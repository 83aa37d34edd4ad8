"""The times to give at one place, for every light that a day may bring, by what the club's logs say of the paper."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from exposures.pooled import pooled
from exposures.recommending import hole_error_stops, time_for
from exposures.workshops.models import Place
from optics.core.faults import Flag, Impossible
from optics.core.say import say_f_number
from pinpool.http.problems import Conflict

#: What the light looks like at an EV for ISO 100. Common practice, no source; a meter's reading goes before it.
LIGHTS = (
    (16, "sun on snow or bright sand"),
    (15, "full sun, shadows with hard edges"),
    (14, "hazy sun, shadows with soft edges"),
    (13, "bright cloud, hardly a shadow"),
    (12, "grey cloud, no shadow"),
    (11, "open shade under a clear sky, or heavy cloud"),
    (10, "rain, or soon after sunset"),
    (9, "deep shade under trees"),
    (8, "a room beside a large window"),
)


@dataclass(frozen=True)
class LightRow:
    """One light and the time to give in it, s; `ninety` holds the right time nine times in ten."""

    ev100: float
    light: str
    indicated_s: float
    time_s: float
    ninety: tuple[float, float]


@dataclass(frozen=True)
class PlaceTable:
    f_number: float
    rows: Sequence[LightRow]
    because: Sequence[str]
    flags: Sequence[Flag]


def table_of(place: Place) -> PlaceTable:
    """By the place's own f-number; a `Conflict` that says what to do while its hole is not measured.

    Neither this camera nor whoever exposes with it has been logged: that both vary is in the intervals.
    """
    diameter, uncertainty = place.hole_diameter_mm, place.hole_uncertainty_mm
    if diameter is None or uncertainty is None:
        raise Conflict("Measure your hole first, by hand or from a scan: the times are those of your own f-number.")
    paper = place.workshop.paper
    asked: dict[str, Any] = {
        "paper": paper,
        "f_number": place.workshop.design.focal_length_mm / diameter,
        "hole_stops": hole_error_stops(diameter, uncertainty),
        "camera": f"place {place.pk}",
        "member": f"place {place.pk}",
    }
    known = pooled(place.workshop.club)
    try:
        found = [time_for(known, reading=float(ev), **asked) for ev, _ in LIGHTS]
    except Impossible as fault:
        raise Conflict(str(fault)) from fault
    rows = [
        LightRow(each.ev100, light, each.indicated_time_s, each.exposure_time_s, each.ninety)
        for each, (_, light) in zip(found, LIGHTS, strict=True)
    ]
    flags = {flag.code: flag for each in found for flag in each.flags}
    because = [f"The times are for {paper.name} and {say_f_number(asked['f_number'])}, which is what your hole makes."]
    if "published_law" in flags:
        because.append(
            f"Nobody has logged {paper.name}; how its times grow is its data sheet's ({paper.published_source})."
        )
    because += [sentence for sentence in found[0].because if all(sentence in each.because for each in found)]
    return PlaceTable(asked["f_number"], rows, because, tuple(flags.values()))
