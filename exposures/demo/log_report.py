"""What the club's log teaches, written out for a person: papers, cameras, members, doubtful entries, the next tests."""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from clubs.selectors import cameras_in
from exposures.demo.club import CODES, WALKERS
from exposures.demo.generator import PAPERS, draw_offsets
from exposures.demo.job import Job
from exposures.demo.layout import day, listed, table, wrapped
from exposures.offsets import Known, cameras_known, members_known
from exposures.selectors import known_of, model_of, papers_in
from exposures.teaching import doubts_for, plan_tests
from optics.core.faults import Flag
from optics.core.say import say_time

TESTS = 3


def papers(job: Job) -> Iterator[str]:
    """Every paper's index and exponent beside the truth, and the truth about the job's time."""
    club = job.member.club
    known = known_of(papers_in(club=club).order_by("family", "name"), club)
    logged = [each for each in known if each.answer.evidence.logs]
    yield from wrapped(
        "A program made these exposures, so the truth is known and the log can be marked. A paper's index is its real "
        "one, which the box it comes in need not tell. Each range holds the truth nine times in ten."
    )
    yield ""
    yield from table(
        ("paper", "logs", "cameras", "members", "shortest", "longest"),
        *(
            (
                each.paper.name,
                *(str(count) for count in (evidence.logs, evidence.cameras, evidence.members)),
                say_time(evidence.shortest_s),
                say_time(evidence.longest_s),
            )
            for each in logged
            for evidence in (each.answer.evidence,)
        ),
    )
    yield ""
    truth = {paper.name: paper for paper in PAPERS}
    yield from table(
        ("paper", "index", "range", "truth", "exponent", "range", "truth"),
        *(
            (
                each.paper.name,
                f"{each.exposure_index:.1f}",
                "{:.1f} to {:.1f}".format(*each.exposure_index_interval),
                f"{true.exposure_index:.1f}" if true else "",
                f"{each.answer.exponent:.2f}",
                "{:.2f} to {:.2f}".format(*each.answer.exponent_interval),
                f"{1 / true.slope:.2f}" if true else "",
            )
            for each in logged
            for true in (truth.get(each.paper.name),)
        ),
    )
    yield ""
    right_s = truth[job.paper.name].right_time_s(float(np.log2(job.time.indicated_time_s)))
    yield from wrapped(
        f"For section 7 the truth is {say_time(right_s)}, if the hole is what it was measured to be; the log says "
        f"{say_time(job.time.exposure_time_s)}."
    )
    of_all = model_of(club).flags
    if of_all:
        yield ""
    yield from _flags("", of_all)
    for each in known:
        yield from _flags(f"{each.paper.name}: ", [flag for flag in each.answer.flags if flag not in of_all])


def _flags(of: str, flags: Sequence[Flag]) -> Iterator[str]:
    for flag in flags:
        yield from listed(of + flag.text)


def offsets(job: Job) -> Iterator[str]:
    """How far every camera and member lies off, and what to make of those that do."""
    club = job.member.club
    yield from wrapped(
        "Because several members used several cameras on the same papers, the log can tell whose results are off. A "
        "camera that is off by −1 stop gives half the light that its f-number promises; a member who is off by +1 "
        "stop finds pictures a stop over, by meter or eye, where the others find them right."
    )
    truth = draw_offsets(cameras=CODES, members=WALKERS)
    cameras = cameras_known(cameras_in(club=club).order_by("code"), club)
    yield from _offsets("camera", [(each.camera.code, each) for each in cameras], truth.cameras)
    members = members_known(club.memberships.select_related("user").order_by("pk"), club)
    yield from _offsets("member", [(each.membership.user.get_username(), each) for each in members], truth.members)


def _offsets(kind: str, known: Sequence[tuple[str, Known]], truth: Mapping[str, float]) -> Iterator[str]:
    logged = [(name, each) for name, each in known if each.offset.evidence.logs]
    yield ""
    yield from table(
        (kind, "logs", "stops off", "range", "truth"),
        *(
            (
                name,
                str(each.offset.evidence.logs),
                _signed(each.offset.stops),
                f"{_signed(each.low_stops)} to {_signed(each.high_stops)}",
                _signed(truth[name]) if name in truth else "",
            )
            for name, each in logged
        ),
    )
    for name, each in logged:
        if each.low_stops > 0 or each.high_stops < 0:
            yield from listed(f"{name}: {each.text}")
    strangers = [name for name, each in known if not each.offset.evidence.logs]
    if strangers:
        yield from listed(f"Without a judged log: {', '.join(strangers)}.")


def _signed(stops: float) -> str:
    return f"{stops:+.2f}".replace("-", "−")


def doubts(job: Job) -> Iterator[str]:
    """The entries that the rest contradict, each with what may be wrong with it."""
    found = doubts_for(actor=job.member).select_related("log__paper").order_by("log__taken_at")
    if not found:
        yield "None."
    for doubt in found:
        log = doubt.log
        who = log.member.get_username() if log.member else "a former member"
        yield from listed(f"{day(log.taken_at)}, {who} with {log.spec.camera.code} on {log.paper.name}: {doubt.text}")


def next_tests(job: Job) -> Iterator[str]:
    """The exposures that would teach the club most."""
    plan = plan_tests(actor=job.member, count=TESTS).tests
    if not plan:
        yield "Nothing that daylight allows."
        return
    yield from wrapped(
        f"These {len(plan)} exposures would teach the club most. By them the mean error of its papers, at times from "
        f"1 s to half an hour, would fall from {plan[0].before_stops:.3f} to {plan[-1].after_stops:.3f} stop."
    )
    for test in plan:
        yield from listed(test.text)
