"""The log's filters: what each finds, what it refuses, that an index answers it, and what a page costs."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from exposures.models import ExposureLog
from tests.exposures.test_corrections import correct, listed
from tests.factories import AccountFactory, CameraSpecFactory, ExposureLogFactory, MembershipFactory, PaperFactory
from tests.problems import faults_in

DAY = datetime(2026, 5, 1, 12, tzinfo=UTC)


def test_filters(here: Any) -> None:
    other = CameraSpecFactory.create(camera__club=here.club, camera__code="T2")
    mine = {"spec": here.spec, "paper": here.paper, "member": here.member.user}
    one = ExposureLogFactory.create(**mine, shared=True)
    two = ExposureLogFactory.create(
        spec=other,
        paper=PaperFactory.create(club=here.club),
        result=None,
        result_stops=None,
        taken_at=DAY + timedelta(1),
    )
    own = ExposureLogFactory.create(**mine, private=True)
    ids = {name: str(log.id) for name, log in (("one", one), ("two", two), ("own", own))}

    def found(query: str) -> list[str]:
        return [name for each in listed(here, query) for name, known in ids.items() if known == each]

    assert found("") == found("corrected=false") == found("corrected=true") == ["own", "two", "one"]
    assert found("camera=T1") == found("camera=t1") == found(f"paper={here.paper.id}") == ["own", "one"]
    assert found(f"member={here.member.user.get_username()}") == found("judged=true") == ["own", "one"]
    assert found("judged=false") == found("camera=T2") == found("visibility=club") == ["two"]
    assert found("shared=true") == found("visibility=shared") == ["one"]
    assert found("shared=false") == ["own", "two"]
    assert found("visibility=private") == ["own"]
    assert found("since=2026-05-01T12:00:00Z") == ["own", "two", "one"]
    assert found("since=2026-05-01T12:00:01Z") == ["two"]
    assert found("until=2026-05-02T12:00:00Z") == found("until=2026-05-02T14:00:00%2B02:00") == ["own", "one"]
    assert found("since=2026-05-01T12:00:00Z&until=2026-05-01T12:00:00Z") == []
    assert found("camera=T2&shared=true") == found("camera=NONE") == found("member=nobody") == []
    CameraSpecFactory.create(camera=here.spec.camera, number=2)
    assert found("camera=T1") == ["own", "one"]
    correct(here, {"id": ids["one"]}, shared=True)
    assert found("shared=true&judged=true") == []
    assert found("shared=true&judged=true&corrected=true") == ["one"]


@pytest.mark.parametrize(
    ("query", "name"),
    [("camra=T1", "camra"), ("paper=T1", "paper"), ("shared=yes", "shared"), ("camera=" + "x" * 13, "camera"),
     ("camera=T1&camera=T2", "camera"), ("member=%00", "member"), ("paper=1", "paper"), ("shared=1", "shared"),
     ("camera__code=T1", "camera__code"), ("lengths=in", "lengths"), ("visibility=public", "visibility"),
     ("judged=maybe", "judged"), ("corrected=all", "corrected"), ("since=yesterday", "since"),
     ("since=2026-05-01", "since"), ("until=2026-05-01T12:00:00", "until"), ("private=true", "private"),
     ("until=2026-05-01T14:00:00+02:00", "until")],
)  # fmt: skip
def test_filters_that_are_none(here: Any, query: str, name: str) -> None:
    assert {at for at, _ in faults_in(here.client.get(f"{here.at}exposures/?{query}"))} == {f"/{name}"}


# ------------------------------------------------------------------------------------------------------ indexes


def fill(here: Any, count: int = 8000) -> str:
    """Many logs, few of them the ones that are asked for, in a club among others; returns one rare paper."""
    specs = [here.spec, *(CameraSpecFactory.create(camera__club=here.club, camera__code=f"C{n}") for n in range(20))]
    papers = [PaperFactory.create(club=here.club) for _ in range(20)]
    users = [here.member.user, *(MembershipFactory.create(club=here.club).user for _ in range(20))]
    elsewhere = CameraSpecFactory.create()
    other = {"spec": elsewhere, "club": elsewhere.camera.club, "paper": PaperFactory.create(club=elsewhere.camera.club)}
    example = ExposureLogFactory.build(spec=here.spec, paper=here.paper, member=here.member.user)
    told = ("reading", "ev100", "f_number", "exposure_index", "indicated_time_s", "exposure_time_s", "typed_time")
    facts = {name: getattr(example, name) for name in told}
    logs = []
    for n in range(count):
        where = {"spec": specs[n % 21], "paper": papers[n % 20], "club": here.club} if n % 5 == 0 else other
        judged = {"result": {"judged_stops": 0.0}, "result_stops": 0.0} if n % 101 else {}
        kind = {"shared": n % 97 == 0, "private": n % 97 == 1}
        when = DAY + timedelta(hours=n)
        logs.append(ExposureLog(**facts, **where, **judged, **kind, member=users[n % 21], taken_at=when))
    ExposureLog.objects.bulk_create(logs)
    return str(papers[5].pk)


def plan_of(here: Any, query: str) -> str:
    """How the database finds the page, as it says itself."""
    with CaptureQueriesContext(connection) as queries:
        assert here.client.get(f"{here.at}exposures/?{query}").status_code == 200
    [asked] = [
        each["sql"] for each in queries if "ORDER BY" in each["sql"] and "pinpool_exposures_exposurelog" in each["sql"]
    ]
    explain = "EXPLAIN QUERY PLAN" if connection.vendor == "sqlite" else "EXPLAIN"
    with connection.cursor() as cursor:
        cursor.execute(f"{explain} {asked}")
        return "\n".join(str(row) for row in cursor.fetchall())


@pytest.mark.parametrize("analysed", [False, True])
def test_each_filter_is_answered_by_an_index(here: Any, analysed: bool) -> None:
    """PostgreSQL gathers figures by itself, SQLite has none unless somebody asks for them."""
    paper = fill(here)
    if analysed or connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
    first = here.client.get(f"{here.at}exposures/?page_size=200").json()["next"]
    cursor_of = re.search(r"cursor=([^&]+)", first)[1]  # type: ignore[index]
    in_order = {"pinpool_log_by_club", "exposurelog_pkey"}  # a fifth of all is as soon found in the order of all
    window = "since=2026-08-30T00:00:00Z&until=2026-08-30T12:00:00Z"
    by_time = {"pinpool_log_by_time"} if connection.vendor == "postgresql" else {"pinpool_log_by_club"}
    of_few = {
        "camera=C3": {"pinpool_log_by_spec"}, f"paper={paper}": {"pinpool_log_by_paper"},
        f"member={here.member.user.get_username()}": {"pinpool_log_by_member"},
        "shared=true": {"pinpool_log_shared"}, "visibility=shared": {"pinpool_log_shared"},
        "visibility=private": {"pinpool_log_private"}, "judged=false": {"pinpool_log_unjudged"},
    }  # fmt: skip
    indexes = {
        "": in_order, f"cursor={cursor_of}": in_order, "judged=true": in_order, "corrected=true": in_order, **of_few,
        **{f"{query}&cursor={cursor_of}": one_of for query, one_of in of_few.items()},
        window: by_time, "until=2026-05-01T20:00:00Z": by_time, "since=2026-05-01T20:00:00Z": in_order,
    }  # fmt: skip
    for query, one_of in indexes.items():
        plan = plan_of(here, query)
        assert any(index in plan for index in one_of), query + plan
        assert "SCAN " not in plan, query + plan
        assert "Seq Scan on pinpool_exposures_exposurelog" not in plan
        assert "USE TEMP B-TREE" not in plan  # to sort what may be many


def test_two_hundred_logs_cost_as_many_queries_as_two(here: Any) -> None:
    """Corrected and correcting ones, with and without member, of many cameras, in every form of the list."""
    specs = [CameraSpecFactory.create(camera__club=here.club) for _ in range(10)]
    logs = [
        ExposureLogFactory.create(
            spec=specs[n % 10], paper=here.paper, member=AccountFactory.create() if n % 3 else None
        )
        for n in range(195)
    ]
    for n in range(5):
        correct(here, {"id": here.log()["id"]}, note=str(n))
    for query in ("", "corrected=true&", "judged=true&", f"paper={here.paper.pk}&"):
        costs = []
        for size in (2, 195):
            with CaptureQueriesContext(connection) as queries:
                rows = here.client.get(f"{here.at}exposures/?{query}page_size={size}").json()["results"]
            assert len(rows) == size
            costs.append(len(queries))
        assert costs == [2, 2], query
    assert len(logs) == 195
