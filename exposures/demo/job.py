"""One container worked through, from its inside measurements to the time to give. The container is invented.

Every figure is asked of the views that answer the API, with the bodies a client would post: what is printed here and
what a client is told cannot differ.
"""

from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

from clubs.models import Membership
from exposures.models import Paper
from exposures.reciprocity.estimate import PaperEstimate
from exposures.selectors import PaperKnown, estimate_of, papers_in
from optics import views
from pinpool.http.views import Computation

#: The box as measured inside, and what lies at hand.
BOX = {"width": "164 mm", "depth": "84 mm"}
BOX_HEIGHT, STRIP_LENGTH, STRIP_HEIGHT, SHEET = "70 mm", "10 in", "67 mm", "8x10 in"
PLATE_THICKNESS, WALL_THICKNESS, MARGIN = "0.001 in", "4 mm", "1 mm"
RECEPTOR = "graded_paper"
READING = {"illuminance": "32000 lx"}
PAPER = "Glasswort 2"
#: The picture that counts: the ends of any strip bent right up to the hole's wall stay dark.
USED_SHARE = 0.8

#: Three holes, each counted both ways through a loupe: so many hole-widths between two marks `SPAN` apart.
TRIES = {"A": (9.0, 9.25), "B": (8.25, 8.0), "C": (7.0, 8.25)}
SPAN = "3 mm"


@dataclass(frozen=True)
class Step:
    """A question as a client would post it to `view`, and the view's own answer."""

    view: type[Computation]
    body: dict[str, Any]
    answer: Any


@dataclass(frozen=True)
class Job:
    """The steps in working order, and what the club's log adds: `interval_s` holds the right time 9 times in 10."""

    strip: Step
    flat: Step
    cuts: Step
    hole: Step
    tries: Step
    strip_light: Step
    flat_light: Step
    opening: Step
    exposure: Step
    balanced_exposure: Step
    paper: Paper
    pooled: PaperEstimate
    known: list[PaperKnown]
    interval_s: tuple[float, float]


def work_through(*, member: Membership) -> Job:
    """The whole job, with what the member's club has pooled for `PAPER`."""
    paper = Paper.objects.get(club=member.club, name=PAPER)

    def ask(view: type[Computation], **body: Any) -> Step:
        bound = view.takes(data=body, context={"request": SimpleNamespace(user=member.user)})
        bound.is_valid(raise_exception=True)
        return Step(view, body, view.compute(**bound.validated_data))

    bowed = {"kind": "bowed", **BOX, "length": STRIP_LENGTH, "height": STRIP_HEIGHT}
    back = {"kind": "flat", "width": BOX["width"], "distance": BOX["depth"], "height": STRIP_HEIGHT}
    strip, flat = (ask(views.FilmPlaneView, film_plane=plane) for plane in (bowed, back))
    focal_length = _mm(strip.answer.mean_mm)
    hole = ask(views.HoleDiameterView, focal_length=focal_length, receptor=RECEPTOR)
    tries = ask(
        views.HoleMeasurementView,
        tries=[{"label": label, "readings": _counts(*counts)} for label, counts in TRIES.items()],
        target=_mm(hole.answer["chosen"].diameter_mm),
        focal_length=focal_length,
    )
    made = {
        "diameter": _mm(tries.answer["diameter_mm"]),
        "uncertainty": _mm(tries.answer["uncertainty_mm"]),
        "plate_thickness": PLATE_THICKNESS,
    }
    number = tries.answer["f_number"]
    strip_light = ask(views.IlluminationView, film_plane=bowed, hole=made, used_share=USED_SHARE)
    exposure, balanced_exposure = (
        ask(
            views.ExposureView,
            reading=READING,
            f_number=f_number,
            exposure_index=paper.nominal_exposure_index,
            reciprocity={"paper": str(paper.pk)},
        )
        for f_number in (number.f_number, strip_light.answer.balanced.f_number)
    )
    known = [estimate_of(each) for each in papers_in(club=member.club).order_by("family", "name")]
    pooled = next(each.estimate for each in known if each.paper == paper)
    return Job(
        strip=strip,
        flat=flat,
        cuts=ask(views.SheetCutsView, sheet=SHEET, piece={"width": STRIP_LENGTH, "height": STRIP_HEIGHT}),
        hole=hole,
        tries=tries,
        strip_light=strip_light,
        flat_light=ask(views.IlluminationView, film_plane=back, hole=made, used_share=USED_SHARE),
        opening=ask(
            views.WallOpeningView,
            film_plane=bowed,
            hole=made,
            wall_thickness=WALL_THICKNESS,
            margin=MARGIN,
            used_share=USED_SHARE,
        ),
        exposure=exposure,
        balanced_exposure=balanced_exposure,
        paper=paper,
        pooled=pooled,
        known=known,
        interval_s=pooled.interval(exposure.answer["indicated_time_s"], more_stops=number.uncertainty_stops),
    )


def _counts(across: float, down: float) -> list[dict[str, Any]]:
    return [
        {"holes_across": count, "span": SPAN, "direction": way} for way, count in (("across", across), ("down", down))
    ]


def _mm(length_mm: float) -> dict[str, Any]:
    return {"value": length_mm, "unit": "mm"}
