"""The club's own logs of one paper: each beside the paper's line, and who made them with what."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.contrib.auth import get_user_model

from clubs.models import CameraSpec, Club, Membership, Person
from clubs.roles import allows
from exposures.models import EvidenceCell, ExposureLog, Paper
from exposures.pooled import Pooled, pooled
from exposures.reciprocity.robust import hold
from exposures.teaching import FORMER_MEMBER, Called, called_spec, doubts_for

#: The newest logs that are shown one by one.
SHOWN_LOGS = 300


@dataclass(frozen=True)
class LogBesideLine:
    """A log that says: this time was right for `indicated_s`, its camera and its member allowed for.

    `doubt` is why it looks wrong, "" where it does not or where the reader may not know.
    """

    log: ExposureLog
    indicated_s: float
    doubt: str


def logs_beside_line(*, actor: Membership, paper: Paper) -> list[LogBesideLine]:
    """The newest judged logs of a paper, and of what is merged with it, the newest first."""
    found = pooled(actor.club)
    judged = ExposureLog.objects.filter(paper__in=same_papers(found, actor.club, paper), time_stops__isnull=False)
    newest = judged.select_related("spec__camera", "member", "person").order_by("-number")[:SHOWN_LOGS]
    logs = {log.number: log for log in newest}
    may_read = allows(actor.role, "read_doubts")
    texts = dict(doubts_for(actor=actor).filter(log__in=list(logs)).values_list("log_id", "text")) if may_read else {}
    line, shown = found.line(paper), []
    for numbers, told in found.scope.logs_of(ExposureLog.objects.filter(pk__in=list(logs))):
        in_fit = [np.isin(getattr(told, n), getattr(found.fit.cells, n)) for n in ("paper", "camera", "member")]
        known = np.flatnonzero(np.all(in_fit, axis=0))  # a log that came in this moment may not be in the fit yet
        some = told.where(known)
        off = hold(found.fit, some, np.zeros(len(some))).off_stops
        for number, u, stops in zip(numbers[known].tolist(), some.u.tolist(), off.tolist(), strict=True):
            shown.append(LogBesideLine(logs[number], float(2 ** (line.effect(u) + stops)), texts.get(number, "")))
    return sorted(shown, key=lambda each: -each.log.number)


def same_papers(found: Pooled, club: Club, paper: Paper) -> list[Paper]:
    """The club's papers that the fit takes for the same one."""
    return [each for each in Paper.objects.filter(club=club) if found.key(each) == found.key(paper)]


@dataclass(frozen=True)
class Contribution:
    """How many judged logs somebody, or some camera, gave."""

    called: Called
    logs: int


@dataclass(frozen=True)
class Contributions:
    """Who gave the logs of a paper, those with the most first; and how many came from other clubs."""

    members: Sequence[Contribution]
    cameras: Sequence[Contribution]
    pool_logs: int
    packet_logs: int


def contributions_to(*, actor: Membership, paper: Paper) -> Contributions:
    """Whose logs say what is known of a paper."""
    found = pooled(actor.club)
    own = EvidenceCell.objects.filter(paper__in=same_papers(found, actor.club, paper))
    members: Counter[tuple[Any, Any]] = Counter()
    specs: Counter[int] = Counter()
    for spec, member, person, logs in own.values_list("spec_id", "member_id", "person_id", "logs"):
        specs[spec] += logs
        members[member, person] += logs
    cells = found.fit.cells
    here = cells.where(cells.paper == found.key(paper)) if len(cells) else cells
    on_this_server = np.char.startswith(here.camera.astype(str), "spec ") if len(here) else np.zeros(0, dtype=bool)
    packets = round(float(here.logs[~on_this_server].sum())) if len(here) else 0
    total = round(float(here.logs.sum())) if len(here) else 0
    users = get_user_model()._default_manager.in_bulk({member for member, _ in members if member})
    people = Person.objects.in_bulk({person for _, person in members if person})
    cameras = CameraSpec.objects.select_related("camera").in_bulk(list(specs))

    def called(member: Any, person: Any) -> Called:
        if person is not None:
            return Called(people[person].called, without_account=True)
        return FORMER_MEMBER if member is None else Called(users[member].get_username())

    return Contributions(
        members=[Contribution(called(*key), logs) for key, logs in members.most_common()],
        cameras=[Contribution(called_spec(cameras[spec]), logs) for spec, logs in specs.most_common()],
        pool_logs=max(total - packets - sum(specs.values()), 0),
        packet_logs=packets,
    )
