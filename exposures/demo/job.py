"""One container worked through, from its inside measurements to the time to give. The container is invented.

Every figure is asked of what answers the API, with the bodies a client would post: what is printed here and what a
client is told cannot differ. Once its hole is made the box is registered as a camera of the club, so the time to give
comes with the interval of a camera that nobody has logged.
"""

from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np

from clubs.models import Camera, Membership
from clubs.selectors import cameras_in
from clubs.serializers import CameraIn
from clubs.services import register_camera
from exposures.models import Paper
from exposures.recommending import Recommendation, recommend
from exposures.serializers import RecommendationIn
from optics import views
from pinpool.http.views import Computation

#: The box as measured inside, and what lies at hand.
BOX = {"width": "164 mm", "depth": "84 mm"}
BOX_HEIGHT, STRIP_LENGTH, STRIP_HEIGHT, SHEET = "70 mm", "10 in", "67 mm", "8x10 in"
PLATE_THICKNESS, WALL_THICKNESS, MARGIN = "0.001 in", "4 mm", "1 mm"
RECEPTOR = "graded_paper"
CODE, NAME = "STRIP", "Slide box, strip sprung in"
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
    """The steps in working order; then the camera that the box has become, and the time for `member` to give with it.

    `time` is for the camera's own f-number, `balanced_time` for the one that favours the corners.
    """

    strip: Step
    flat: Step
    cuts: Step
    hole: Step
    tries: Step
    strip_light: Step
    flat_light: Step
    opening: Step
    member: Membership
    camera: Camera
    paper: Paper
    time: Recommendation
    balanced_time: Recommendation


def work_through(*, member: Membership) -> Job:
    """The whole job, with what the member's club has logged of `PAPER`."""
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
    strip_light, flat_light = (
        ask(views.IlluminationView, film_plane=plane, hole=made, used_share=USED_SHARE) for plane in (bowed, back)
    )
    opening = ask(
        views.WallOpeningView,
        film_plane=bowed,
        hole=made,
        wall_thickness=WALL_THICKNESS,
        margin=MARGIN,
        used_share=USED_SHARE,
    )
    camera = _registered(member, {"film_plane": bowed, "hole": made})
    number, balanced = tries.answer["f_number"].f_number, strip_light.answer.balanced.f_number
    time, balanced_time = (
        _time(member, camera, paper, more_stops) for more_stops in (0.0, 2 * float(np.log2(balanced / number)))
    )
    return Job(
        strip=strip,
        flat=flat,
        cuts=ask(views.SheetCutsView, sheet=SHEET, piece={"width": STRIP_LENGTH, "height": STRIP_HEIGHT}),
        hole=hole,
        tries=tries,
        strip_light=strip_light,
        flat_light=flat_light,
        opening=opening,
        member=member,
        camera=camera,
        paper=paper,
        time=time,
        balanced_time=balanced_time,
    )


def _registered(member: Membership, spec: dict[str, Any]) -> Camera:
    """The box as a camera of the club; registered once."""
    cameras = cameras_in(club=member.club).filter(code=CODE)
    if not cameras:
        bound = CameraIn(data={"code": CODE, "name": NAME, "club_owned": True, "spec": spec})
        bound.is_valid(raise_exception=True)
        register_camera(actor=member, **bound.validated_data)
    return cameras.get()


def _time(member: Membership, camera: Camera, paper: Paper, more_stops: float) -> Recommendation:
    """The time for `READING`, with `more_stops` ≥ 0 to be given, as a filter's."""
    body = {"camera": camera.code, "paper": str(paper.pk), "reading": READING, "filter_stops": more_stops}
    bound = RecommendationIn(data=body)
    bound.is_valid(raise_exception=True)
    return recommend(actor=member, **bound.validated_data | {"camera": camera, "paper": paper})


def _counts(across: float, down: float) -> list[dict[str, Any]]:
    return [
        {"holes_across": count, "span": SPAN, "direction": way} for way, count in (("across", across), ("down", down))
    ]


def _mm(length_mm: float) -> dict[str, Any]:
    return {"value": length_mm, "unit": "mm"}
