"""What would teach the club most, how its results compare, and which of its logs look wrong."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from django.db.models import QuerySet

from clubs.models import Camera, CameraSpec, Club, Membership, Person
from clubs.roles import allows
from clubs.selectors import cameras_in
from exposures.models import Doubt, ExposureLog, Paper
from exposures.pooled import Pooled, pooled
from exposures.reciprocity import comparison, next_tests
from exposures.reciprocity.result import Offset
from exposures.scopes import OTHERS, camera_key, member_key
from exposures.selectors import papers_in
from optics.core.faults import Flag
from optics.core.light import Light
from optics.core.say import say_time

#: A subject in full sun: hardly any is brighter (common practice, no source).
BRIGHTEST_EV100 = 15.0
#: A plan is made for at most so many papers, a comparison for so many of a kind.
MOST_PLANNED_PAPERS, MOST_COMPARED = 100, comparison.MOST_LEVELS
#: The newest logs that a comparison shows one by one.
SHOWN_LOGS = 500


@dataclass(frozen=True)
class NextTest:
    """Give `time_s` at a light of `ev100`, where the meter asks for `indicated_s`.

    The club's mean error at all its papers and times falls from `before_stops` to `after_stops`.
    """

    camera: Camera
    paper: Paper
    ev100: float
    indicated_s: float
    time_s: float
    before_stops: float
    after_stops: float

    @property
    def text(self) -> str:
        return (
            f"Load {self.camera.code} with {self.paper.name}, find a light where the meter asks for "
            f"{say_time(self.indicated_s)} (about EV {self.ev100:.0f}), and give {say_time(self.time_s)}."
        )


@dataclass(frozen=True)
class Plan:
    tests: Sequence[NextTest]
    flags: Sequence[Flag]


def plan_tests(*, actor: Membership, count: int, camera: Camera | None = None, paper: Paper | None = None) -> Plan:
    """The exposures that would narrow the club's uncertainty most, each with those before it already made.

    Out of the cameras and papers that the club uses, or those given; of many the ones with the most logs.
    """
    found = pooled(actor.club)
    in_use = papers_in(club=actor.club).filter(retired_at=None).order_by("-name")
    papers = {found.key(each): each for each in ([paper] if paper else in_use)}
    papers = {key: papers[key] for key in _most_logged(found, "paper", papers, most=MOST_PLANNED_PAPERS)}
    most = max(next_tests.MOST_CANDIDATES // max(len(papers) * len(next_tests.TEST_TIMES_S), 1), 1)
    specs = [
        (each, each.spec) for each in ([camera] if camera else cameras_in(club=actor.club).filter(retired_at=None))
    ]
    keyed = {camera_key(spec.pk): (each, spec) for each, spec in specs if spec is not None}
    chosen = _most_logged(found, "camera", keyed, most=most)
    plan = next_tests.next_tests(
        found.fit,
        papers={key: found.asked(each)["family"] for key, each in papers.items()},
        cameras=chosen,
        count=count,
        member=member_key(actor.user_id),
        least_indicated_s=lambda paper, camera: _brightest_s(found, papers[paper], keyed[camera][1]),
    )
    tests = [_as_test(found, test, papers[test.paper], *keyed[test.camera]) for test in plan]
    return Plan(tests, found.fit.flags)


def _as_test(found: Pooled, test: next_tests.NextTest, paper: Paper, camera: Camera, spec: CameraSpec) -> NextTest:
    """In the words of the club: its own nominal index, and the light that this camera needs for it."""
    indicated = test.indicated_s / 2 ** found.asked(paper)["index_stops"]
    ev100 = float(np.log2(spec.f_number**2 / (indicated * paper.nominal_exposure_index / 100)))
    return NextTest(camera, paper, ev100, indicated, test.time_s, test.before_stops, test.after_stops)


def _brightest_s(found: Pooled, paper: Paper, spec: CameraSpec) -> float:
    """What a meter asks for in the brightest light there is, at the index that the fit reckons with."""
    time = Light(BRIGHTEST_EV100).time_s(f_number=spec.f_number, exposure_index=paper.nominal_exposure_index)
    return time * float(2 ** found.asked(paper)["index_stops"])


def _most_logged(found: Pooled, name: str, keys: Iterable[str], *, most: int) -> list[str]:
    """Those of some papers, cameras or members (`name`) with the most logs, the most first."""
    levels, place = np.unique(getattr(found.fit.cells, name), return_inverse=True)
    logs = dict(zip(levels.tolist(), np.bincount(place, found.fit.cells.logs).tolist(), strict=True))
    return sorted(keys, key=lambda key: (-logs.get(key, 0), key))[:most]


# ---------------------------------------------------------------------------------------------------- comparison


class Called(NamedTuple):
    """What the club calls somebody or something; people without an account may be called as somebody who has one."""

    name: str
    without_account: bool = False
    words: str = ""

    @property
    def said(self) -> str:
        """The same on a page: “SLIDE, spec 1” where the API has “SLIDE #1”."""
        return self.words or self.name


def called_spec(spec: CameraSpec) -> Called:
    """A camera as one of its specs made it."""
    return Called(f"{spec.camera.code} #{spec.number}", words=f"{spec.camera.code}, spec {spec.number}")


FORMER_MEMBER = Called("former member")


@dataclass(frozen=True)
class Compared:
    """One camera, member or paper beside the others; `low_stops` to `high_stops` hold its offset with 90 %."""

    called: Called
    offset: Offset
    low_stops: float
    high_stops: float


@dataclass(frozen=True)
class Apart:
    """`one` gets `stops` more than `other`, farther apart than chance explains."""

    one: Called
    other: Called
    stops: float
    error_stops: float


@dataclass(frozen=True)
class ComparedLog:
    """One log on the common scale: stops off once everything but what is compared is allowed for."""

    log: ExposureLog
    called: Called
    off_stops: float


@dataclass(frozen=True)
class Comparison:
    by: str
    rows: Sequence[Compared]
    pairs: int
    apart: Sequence[Apart]
    verdict: str
    logs: Sequence[ComparedLog]


def compare(*, actor: Membership, by: str) -> Comparison:
    """The club's cameras, members or papers on one scale, and its newest logs on the same.

    Of very many those with the most logs.
    """
    found = pooled(actor.club)
    names = _names(found, actor.club, by)
    keys = _most_logged(found, by, names, most=MOST_COMPARED)
    made = comparison.compare(found.fit, by=by, keys=keys)
    quantile = found.fit.quantile(0.9)
    return Comparison(
        by=by,
        rows=[
            Compared(
                names[offset.key], offset, *(offset.stops + side * quantile * offset.error_stops for side in (-1, 1))
            )
            for offset in made.offsets
        ],
        pairs=len(made.differences),
        apart=[
            Apart(names[pair.one], names[pair.other], pair.stops, pair.error_stops)
            for pair in made.differences
            if pair.distinguishable
        ],
        verdict=made.verdict,
        logs=_on_one_scale(found, actor.club, by, names),
    )


def _names(found: Pooled, club: Club, by: str) -> Mapping[str, Called]:
    """What the club calls each key of its own."""
    if by == "paper":
        return {found.key(paper): Called(paper.name) for paper in papers_in(club=club).order_by("-created_at")}
    if by == "camera":
        specs = CameraSpec.objects.filter(camera__club=club).select_related("camera")
        return {camera_key(spec.pk): called_spec(spec) for spec in specs}
    members, people = club.memberships.select_related("user"), Person.objects.filter(club=club)
    names = {member_key(each.user_id): Called(each.user.get_username()) for each in members}
    names[OTHERS] = Called(OTHERS, without_account=True)
    return names | {member_key(None, each.pk): Called(each.called, without_account=True) for each in people}


def _on_one_scale(found: Pooled, club: Club, by: str, names: Mapping[str, Called]) -> list[ComparedLog]:
    judged = ExposureLog.objects.filter(club=club, time_stops__isnull=False).order_by("-number")
    newest = {log.number: log for log in judged[:SHOWN_LOGS].select_related("spec__camera", "member")}
    shown = []
    for numbers, logs in found.scope.logs_of(ExposureLog.objects.filter(pk__in=list(newest))):
        in_fit = [np.isin(getattr(logs, n), getattr(found.fit.cells, n)) for n in ("paper", "camera", "member")]
        known = np.flatnonzero(np.all(in_fit, axis=0))  # a log that came in this moment may not be in the fit yet
        off = comparison.adjusted_stops(found.fit, logs.where(known), by=by)
        keys = getattr(logs, by)[known].tolist()
        for number, key, stops in zip(numbers[known].tolist(), keys, off.tolist(), strict=True):
            shown.append(ComparedLog(newest[number], names.get(key, FORMER_MEMBER), stops))
    return sorted(shown, key=lambda each: -each.log.number)


# -------------------------------------------------------------------------------------------------------- doubts


def doubts_for(*, actor: Membership) -> QuerySet[Doubt]:
    """Logs of the club that look wrong: one's own, and for leaders and keepers everybody's."""
    pooled(actor.club)
    rows = Doubt.objects.filter(club=actor.club, log__club=actor.club).exclude(text="")
    named = ("spec__camera", "member", "person", "picture", "corrects", "corrected_by")
    rows = rows.select_related(*(f"log__{each}" for each in named))
    return rows if allows(actor.role, "add_paper") else rows.filter(log__member=actor.user)
