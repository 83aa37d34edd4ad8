"""What a phone takes along for a day without signal: cameras, papers, their baths, and times to look up.

Times are a table for each camera and paper over the time that the meter indicates, thinned so that straight lines in
log-log between its rows give what `recommending` would say, for this member, to within `thinning.TOLERANCE_STOPS`.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np
from django.db.models import OuterRef, QuerySet, Subquery
from django.utils import timezone

from clubs.models import Camera, Membership
from clubs.roles import allows
from clubs.selectors import cameras_in
from clubs.services import check_role
from exposures.darkroom import STEPS_S, Step, steps_of
from exposures.models import Paper
from exposures.pooled import Pooled, pooled
from exposures.published import PublishedLaw, published_law
from exposures.reciprocity.cells import Floats
from exposures.reciprocity.doubts import say_count
from exposures.reciprocity.recommendation import LONGEST_SAID_S
from exposures.recommending import hole_error_stops, time_for
from exposures.scopes import Scope, camera_key, member_key
from exposures.selectors import exposures_for, papers_in
from exposures.sheets.exposure_card import of_camera, of_paper
from exposures.sheets.paper_times import PaperTimes
from exposures.thinning import Reckoner, thinned
from optics.core.faults import Flag

#: Changes whenever the same data would be told otherwise.
METHOD = 1
#: So many go along; more would not be looked through on a phone. Design judgement.
MOST_CAMERAS, MOST_PAPERS = 12, 8


@dataclass(frozen=True)
class Contents:
    """What would go along, before anything is reckoned: its `tag` changes whenever the kit would."""

    actor: Membership
    cameras: Sequence[Camera]
    papers: Sequence[Paper]
    tag: str


@dataclass(frozen=True)
class KitCamera:
    """A camera with the spec in force; `whose`: own, borrowed, club's or another's; `rests_on` where a paper is."""

    camera: Camera
    whose: str
    hole_uncertainty_stops: float
    rests_on: str


@dataclass(frozen=True)
class KitPaper:
    """A paper with its baths, what its times rest on, and the times (s) that were logged, NaN where none was."""

    paper: Paper
    process: dict[str, Any] | None
    steps: Sequence[Step]
    rests_on: str
    flags: Sequence[Flag]
    shortest_s: float
    longest_s: float


@dataclass(frozen=True)
class KitTimes:
    """(n, 4) times in s, indicated ones rising: indicated, to give, and where the right one lies nine times in ten.

    They hold for one paper with each of the `cameras`, by their codes.
    """

    cameras: Sequence[str]
    paper: Any
    rows: Floats


@dataclass(frozen=True)
class FieldKit:
    """All of it; `left_out` counts the cameras and the papers that were too many."""

    actor: Membership
    reckoned_at: datetime
    rests_on: str
    cameras: Sequence[KitCamera]
    papers: Sequence[KitPaper]
    times: Sequence[KitTimes]
    left_out: dict[str, int]

    @property
    def may_log(self) -> bool:
        return allows(self.actor.role, "log_exposure")


def contents_for(*, actor: Membership) -> Contents:
    """Cameras in use, one's own and borrowed ones first, the club's before those of others; and papers in use."""
    check_role(membership=actor, action="ask_recommendation")
    fingerprint = Scope(actor.club).fingerprint
    cameras = [camera for camera in cameras_in(club=actor.club).filter(retired_at=None) if camera.spec is not None]
    cameras.sort(key=lambda camera: (ORDER.index(whose(camera, actor)), camera.code))
    papers = list(with_process(papers_in(club=actor.club).filter(retired_at=None), actor).order_by("name"))
    marks = (
        METHOD,
        fingerprint,
        actor.user_id,
        actor.role,
        [(camera.pk, camera.revision, camera.spec and camera.spec.pk) for camera in cameras],
        [(paper.pk, paper.revision, process_of(paper)) for paper in papers],
    )
    return Contents(actor, cameras, papers, f'"{hashlib.sha256(repr(marks).encode()).hexdigest()[:32]}"')


ORDER = ("own", "borrowed", "club", "another's")


def whose(camera: Camera, actor: Membership) -> str:
    """Whose a camera is to somebody, one of `ORDER`; what is lent to somebody else is another's meanwhile."""
    if camera.lent_until is not None:
        return "borrowed" if camera.lent_to_id == actor.user_id else "another's"
    if camera.owner_id is None:
        return "club"
    return "own" if camera.owner_id == actor.user_id else "another's"


def with_process(papers: QuerySet[Paper], actor: Membership) -> QuerySet[Paper]:
    """Papers with how they were last developed, by a log that the actor may see."""
    told = exposures_for(reader=actor).filter(paper=OuterRef("pk"), process__isnull=False, corrected_at=None)
    return papers.annotate(last_process=Subquery(told.order_by("-number").values("process")[:1]))


def process_of(paper: Paper) -> dict[str, Any] | None:
    """How a paper of `Contents` was last developed."""
    return getattr(paper, "last_process", None)


def reckon(contents: Contents) -> FieldKit:
    """The kit, by the club's fit of now; of too many papers those with most logs."""
    actor, known = contents.actor, pooled(contents.actor.club)
    cameras = contents.cameras[:MOST_CAMERAS]
    by_logs = sorted(contents.papers, key=lambda paper: -known.answer(paper).evidence.logs)[:MOST_PAPERS]
    papers = [paper for paper in contents.papers if paper in by_logs]
    own = known.fit.offset("member", member_key(actor.user_id)).evidence.logs
    return FieldKit(
        actor=actor,
        reckoned_at=timezone.now(),
        rests_on=(
            f"They allow for how your own results come out, by {say_count(own, 'log')}."
            if own
            else "You have judged no log yet: how much members differ is in the range."
        ),
        cameras=[_camera(known, camera, papers[:1], actor) for camera in cameras],
        papers=[_paper(known, paper) for paper in papers],
        times=[table for paper in papers for table in _tables(known, paper, cameras, actor)],
        left_out={"cameras": len(contents.cameras) - len(cameras), "papers": len(contents.papers) - len(papers)},
    )


def _camera(known: Pooled, camera: Camera, papers: Sequence[Paper], actor: Membership) -> KitCamera:
    spec = camera.spec
    assert spec is not None  # noqa: S101  (`contents_for` leaves out others)
    rests = [of_camera(PaperTimes(known, paper, camera=camera_key(spec.pk))) for paper in papers]
    error = hole_error_stops(spec.hole_diameter_mm, spec.hole_uncertainty_mm)
    return KitCamera(camera, whose(camera, actor), error, "".join(rests))


def _paper(known: Pooled, paper: Paper) -> KitPaper:
    times, process = PaperTimes(known, paper), process_of(paper)
    evidence = times.answer.evidence
    shortest, longest, flags = evidence.shortest_s, evidence.longest_s, times.answer.flags
    if times.law is not None:
        corrected = [corrected for _, corrected in times.law.rows]
        shortest, longest, flags = corrected[0], corrected[-1], times.law.flags
    steps = [*steps_of(process), Step("wash", STEPS_S["wash"], 0.0)]
    return KitPaper(paper, process, steps, of_paper(times), flags, shortest, longest)


def _tables(known: Pooled, paper: Paper, cameras: Sequence[Camera], actor: Membership) -> list[KitTimes]:
    """The tables of one paper; cameras of which the same is known, such as those that nobody has logged, share one."""
    law = None if known.answer(paper).evidence.logs else published_law(paper)
    found: dict[Any, tuple[list[str], Reckoner]] = {}
    for camera in cameras:
        key, at = _reckoner(known, paper, law, camera, actor)
        found.setdefault(key, ([], at))[0].append(camera.code)
    return [KitTimes(codes, paper.pk, np.exp2(thinned(at))) for codes, at in found.values()]


def _reckoner(
    known: Pooled, paper: Paper, law: PublishedLaw | None, camera: Camera, actor: Membership
) -> tuple[Any, Reckoner]:
    """The function that reckons as `recommending` does, by a data sheet's law or by the logs, and a key that is the
    same for the same function.
    """
    spec = camera.spec
    assert spec is not None  # noqa: S101  (`contents_for` leaves out others)
    asked: dict[str, Any] = {"camera": camera_key(spec.pk), "member": member_key(actor.user_id)}
    hole_stops = hole_error_stops(spec.hole_diameter_mm, spec.hole_uncertainty_mm)
    if law is not None:
        # Where a data sheet begins its law keeps the first row's factor, so there the interval's end is its reach.
        index = paper.nominal_exposure_index
        reading = -float(np.log2(law.rows[0][0] * index / 100))  # at f/1: EV = −log₂(t·EI/100)
        start = time_for(known, paper=paper, f_number=1.0, hole_stops=hole_stops, reading=reading, **asked)
        reach = float(np.log2(start.exposure_time_s / start.ninety[0]))
        return reach, lambda stops: _log2(law.correct(np.exp2(np.add.outer(stops, [0.0, -reach, reach]))))
    line, quantile = known.line(paper, **asked), known.fit.quantile(0.9)
    offset = known.fit.offset("camera", asked["camera"])
    if not offset.evidence.logs:
        more = max(hole_stops**2 - offset.spread_stops**2, 0.0)
        line = replace(line, covariance=line.covariance + np.diag([more, 0.0]))

    def by_logs(stops: Sequence[float]) -> Floats:
        times = np.exp2(stops)
        return _log2(np.column_stack([line.right_time_s(times), *line.interval_s(times, quantile=quantile)]))

    return (line.speed, line.slope, line.covariance.tobytes()), by_logs


def _log2(times_s: Any) -> Floats:
    """log₂ of times; whatever is longer than can be said stands as the longest that can."""
    return np.log2(np.minimum(times_s, LONGEST_SAID_S))
