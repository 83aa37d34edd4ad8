"""The time to give for a camera, a paper and a light, by all that counts for the club."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from clubs.models import Camera, Membership
from clubs.services import check_role
from exposures.models import Paper
from exposures.pooled import Pooled, pooled
from exposures.published import PublishedLaw, published_law
from exposures.reciprocity import recommendation as advice
from exposures.reciprocity.design import ASSUMED
from exposures.scopes import camera_key, member_key
from optics.core.exposure import StripStep, plan_test_strip
from optics.core.faults import Flag
from optics.core.light import Light
from optics.core.say import say_f_number, say_time

#: Longer than this the light does not stay what the meter said.
LONGEST_S = 86_400.0


@dataclass(frozen=True)
class Recommendation:
    """A time, where the right one lies with 50 % and with 90 %, a test strip across that, and why.

    Times in s; `exposure_time_s` is infinite where the logs say that no time would do.
    """

    ev100: float
    indicated_time_s: float
    exposure_time_s: float
    half: tuple[float, float]
    ninety: tuple[float, float]
    test_strip: Sequence[StripStep]
    because: Sequence[str]
    flags: Sequence[Flag]

    @property
    def strip_totals_s(self) -> list[float]:
        return [step.total_s for step in self.test_strip]


def recommend(
    *, actor: Membership, camera: Camera, paper: Paper, reading: float, filter_stops: float = 0.0
) -> Recommendation:
    """The time to give by what the logs say of this paper, this camera and this member."""
    check_role(membership=actor, action="ask_recommendation")
    spec = camera.spec
    assert spec is not None  # noqa: S101  (a camera is registered with one)
    return time_for(
        pooled(actor.club),
        paper=paper,
        f_number=spec.f_number,
        hole_stops=hole_error_stops(spec.hole_diameter_mm, spec.hole_uncertainty_mm),
        camera=camera_key(spec.pk),
        member=member_key(actor.user_id),
        reading=reading,
        filter_stops=filter_stops,
    )


def hole_error_stops(diameter_mm: float, uncertainty_mm: float) -> float:
    """One standard deviation of the light through a hole, in stops: its area goes by the square of its diameter."""
    return float(2 / np.log(2) * uncertainty_mm / diameter_mm)


def time_for(
    known: Pooled,
    *,
    paper: Paper,
    f_number: float,
    hole_stops: float,
    camera: Any,
    member: Any,
    reading: float,
    filter_stops: float = 0.0,
) -> Recommendation:
    """The time to give at an f-number, whose hole is known to `hole_stops` (one standard deviation).

    `camera` and `member` are what the fit calls them; those that nobody has logged vary as cameras and members do.
    """
    index = paper.nominal_exposure_index
    indicated_s = Light(reading).time_s(f_number=f_number, exposure_index=index) * 2**filter_stops
    more_stops = _more_stops(known, camera, hole_stops)
    because = [f"EV {reading:.1f} at {say_f_number(f_number)} and index {index:g} indicates {say_time(indicated_s)}."]
    if filter_stops:
        because[0] = because[0].removesuffix(".") + f", the filter's {filter_stops:.2g} stops included."
    law = published_law(paper)
    logged = known.answer(paper).evidence.logs
    if law is not None and not logged:
        found = _by_table(known, paper, law, indicated_s, more_stops)
    else:
        found = advice.recommend(
            known.fit,
            **known.asked(paper),
            indicated_s=indicated_s,
            camera=camera,
            member=member,
            more_stops=more_stops,
            nominal_index=index,
        )
    because += found.because
    if law is not None and logged:
        because.append(
            f"Its data sheet would give {say_time(float(law.correct(indicated_s)))}; the club's logs go before it."
        )
    flags = found.flags
    if LONGEST_S < found.time_s < np.inf:
        flags = (Flag("longer_than_a_day", "This is longer than a day of light; the reading will not hold."), *flags)
    return Recommendation(
        ev100=reading,
        indicated_time_s=indicated_s,
        exposure_time_s=found.time_s,
        half=found.half,
        ninety=found.ninety,
        test_strip=found.test_strip,
        because=because,
        flags=flags,
    )


def _more_stops(known: Pooled, camera: Any, hole_stops: float) -> float:
    """The hole's own error in stops, as far as it exceeds what the fit allows for a camera that nobody has logged."""
    offset = known.fit.offset("camera", camera)
    return 0.0 if offset.evidence.logs else float(np.sqrt(max(hole_stops**2 - offset.spread_stops**2, 0.0)))


def _by_table(
    known: Pooled, paper: Paper, law: PublishedLaw, indicated_s: float, more_stops: float
) -> advice.Recommendation:
    """By the data sheet of a material that nobody has logged; its interval is what papers and cameras usually vary."""
    spread = {name: known.fit.deviations.get(name, ASSUMED[name]) for name in ("speed", "camera", "member")}
    error = float(np.sqrt(sum(stops**2 for stops in spread.values()) + more_stops**2))

    def within(share: float) -> tuple[float, float]:
        reach = min(known.fit.quantile(share) * error, 40.0)
        low, high = law.correct(indicated_s * 2.0 ** np.array([-reach, reach]))  # type: ignore[misc]
        return float(low), float(high)

    time, ninety = float(law.correct(indicated_s)), within(0.9)
    rests = f"Nobody has logged {paper.name}. Its data sheet ({paper.published_source}) makes that {say_time(time)}."
    doubt = (
        f"Cameras, meters and materials are {error:.1f} stops off what is printed, taken together, so with 90 % the "
        f"right time lies from {say_time(ninety[0])} to {say_time(ninety[1])}."
    )
    steps = np.linspace(-1, 1, 5) * min(known.fit.quantile(0.9) * error, 2.0)
    strip = plan_test_strip(indicated_time_s=indicated_s, law=law, steps=steps.tolist())
    return advice.Recommendation(time, within(0.5), ninety, strip, (rests, doubt), law.flags)
