"""Cursor pages: in order, forwards and backwards, nothing lost or doubled, whatever happens meanwhile."""

import base64
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import given, settings
from hypothesis import strategies as st
from rest_framework.request import Request
from rest_framework.test import APIClient, APIRequestFactory

from exposures.models import ExposureLog, Paper
from pinpool.http.pages import page_of_rows
from tests.factories import (
    CameraSpecFactory,
    ExposureLogFactory,
    MembershipFactory,
    PaperFactory,
)
from tests.problems import faults_in

LISTS = ["", "{club}/members/", "{club}/cameras/", "{club}/cameras/{camera}/specs/", "{club}/papers/",
         "{club}/exposures/", "{club}/reciprocity/"]  # fmt: skip


class Walk:
    """A member who reads lists page by page."""

    def __init__(self, client: APIClient, club: Any) -> None:
        self.client, self.club = client, club

    def page(self, address: str) -> dict[str, Any]:
        response = self.client.get(address)
        assert response.status_code == 200, response.content
        page: dict[str, Any] = response.json()
        assert page.keys() == {"next", "previous", "results"}
        return page

    def all(self, address: str, way: str = "next") -> list[list[Any]]:
        """The results of every page from here on, in the order they were read."""
        pages = []
        following: str | None = address
        while following:
            page = self.page(following)
            pages.append(page["results"])
            following = page[way]
        return pages

    @property
    def papers(self) -> str:
        return f"/api/v1/clubs/{self.club.slug}/papers/"

    @property
    def exposures(self) -> str:
        return f"/api/v1/clubs/{self.club.slug}/exposures/"


@pytest.fixture
def walk(as_user: Any) -> Walk:
    member = MembershipFactory.create()
    return Walk(as_user(member.user), member.club)


def names(pages: list[list[Any]]) -> list[str]:
    return [row["name"] for page in pages for row in page]


def fill(walk: Walk, count: int) -> list[str]:
    made = [f"Paper {n:03}" for n in range(count)]
    for name in reversed(made):
        PaperFactory.create(club=walk.club, name=name)
    PaperFactory.create(name="Another club's")
    return made


def cursor(text: str | bytes) -> str:
    return base64.urlsafe_b64encode(text if isinstance(text, bytes) else text.encode()).decode()


@pytest.mark.parametrize(("count", "size"), [(0, 3), (1, 3), (3, 3), (4, 3), (6, 3), (7, 1), (10, 200)])
def test_forwards_then_backwards(walk: Walk, count: int, size: int) -> None:
    made = fill(walk, count)
    pages = walk.all(f"{walk.papers}?page_size={size}")
    assert names(pages) == made
    assert all(len(page) == size for page in pages[:-1])
    assert len(pages) == max(1, -(-count // size))

    last = f"{walk.papers}?page_size={size}"
    while following := walk.page(last)["next"]:
        last = following
    back = walk.all(last, "previous")
    assert names(back[::-1]) == made


def test_every_list_is_paged_and_its_neighbours_lead_back(walk: Walk, as_user: Any) -> None:
    spec = CameraSpecFactory.create(camera__club=walk.club)
    CameraSpecFactory.create(camera=spec.camera, number=2)
    CameraSpecFactory.create(camera__club=walk.club)
    keeper = MembershipFactory.create(club=walk.club, role="keeper")
    MembershipFactory.create(user=keeper.user)
    for paper in PaperFactory.create_batch(2, club=walk.club):
        ExposureLogFactory.create(spec=spec, paper=paper)
    client = Walk(as_user(keeper.user), walk.club)
    for path in LISTS:
        address = "/api/v1/clubs/" + path.format(club=walk.club.slug, camera=spec.camera.code)
        first = client.page(f"{address}?page_size=1")
        second = client.page(first["next"])
        assert first["previous"] is None, path
        assert len(first["results"]) == len(second["results"]) == 1, path
        assert first["results"] != second["results"], path
        assert client.page(second["previous"])["results"] == first["results"], path


def test_the_newest_entry_of_the_log_is_first(walk: Walk) -> None:
    spec = CameraSpecFactory.create(camera__club=walk.club)
    paper = PaperFactory.create(club=walk.club)
    made = [str(ExposureLogFactory.create(spec=spec, paper=paper).id) for _ in range(7)]
    pages = walk.all(f"{walk.exposures}?page_size=2")
    assert [row["id"] for page in pages for row in page] == made[::-1]


def test_rows_that_come_and_go_meanwhile(walk: Walk) -> None:
    """A page starts after a row, not at a count: what is added or taken before it moves nothing."""
    made = fill(walk, 9)
    first = walk.page(f"{walk.papers}?page_size=3")
    PaperFactory.create(club=walk.club, name="Paper 000½")
    Paper.objects.filter(club=walk.club, name="Paper 001").delete()
    Paper.objects.filter(club=walk.club, name="Paper 002").delete()  # the very row the next page starts after
    rest = walk.all(first["next"])
    assert names(rest) == made[3:]


def test_entries_logged_while_reading_show_on_the_way_back(walk: Walk) -> None:
    spec = CameraSpecFactory.create(camera__club=walk.club)
    paper = PaperFactory.create(club=walk.club)
    old = [str(ExposureLogFactory.create(spec=spec, paper=paper).id) for _ in range(4)]
    second = walk.page(walk.page(f"{walk.exposures}?page_size=2")["next"])
    new = [str(ExposureLogFactory.create(spec=spec, paper=paper).id) for _ in range(3)]
    assert [row["id"] for row in second["results"]] == [old[1], old[0]]
    back = walk.all(second["previous"], "previous")
    assert [row["id"] for page in reversed(back) for row in page] == [*new[::-1], old[3], old[2]]


def test_filters_and_sizes_are_kept_in_the_neighbours(walk: Walk) -> None:
    one, two = (CameraSpecFactory.create(camera__club=walk.club) for _ in range(2))
    paper = PaperFactory.create(club=walk.club)
    for spec in (one, two, one, two, one):
        ExposureLogFactory.create(spec=spec, paper=paper)
    pages = walk.all(f"{walk.exposures}?camera={one.camera.code}&page_size=2")
    assert [len(page) for page in pages] == [2, 1]
    assert {row["camera"] for page in pages for row in page} == {one.camera.code}


def test_a_deep_page_costs_what_the_first_does(walk: Walk) -> None:
    fill(walk, 40)
    costs = []
    following: str | None = f"{walk.papers}?page_size=2"
    while following:
        with CaptureQueriesContext(
            connection,
        ) as queries:
            following = walk.page(following)["next"]
        costs.append(len(queries))
        assert not any("OFFSET" in query["sql"] or "COUNT(" in query["sql"] for query in queries)
    assert len(costs) == 20
    assert max(costs) == min(costs)


def test_a_longer_page_asks_the_database_no_more_often(walk: Walk) -> None:
    spec = CameraSpecFactory.create(camera__club=walk.club)
    paper = PaperFactory.create(club=walk.club)
    for number in range(2, 8):
        CameraSpecFactory.create(camera=spec.camera, number=number)
        CameraSpecFactory.create(camera__club=walk.club)
        MembershipFactory.create(club=walk.club)
        PaperFactory.create(club=walk.club)
        ExposureLogFactory.create(spec=spec, paper=paper)
    for path in LISTS[:-1]:  # the last estimates paper by paper
        address = "/api/v1/clubs/" + path.format(club=walk.club.slug, camera=spec.camera.code)
        costs = []
        for size in (1, 6):
            with CaptureQueriesContext(connection) as queries:
                walk.page(f"{address}?page_size={size}")
            costs.append(len(queries))
        assert costs[0] == costs[1] <= 5, path


@pytest.mark.parametrize("size", ["1", "200", "7"])
def test_sizes_that_may_be_asked_for(walk: Walk, size: str) -> None:
    assert len(walk.page(f"{walk.papers}?page_size={size}")["results"]) == 0


@pytest.mark.parametrize("size", ["0", "201", "-1", "1.5", "ten", "1e2", "٣", "99999999999999999999", "%2B5", "0x5"])
def test_sizes_that_may_not(walk: Walk, size: str) -> None:
    assert faults_in(walk.client.get(f"{walk.papers}?page_size={size}")) == {("/page_size", "invalid")}


def test_the_size_of_a_page_is_a_setting(walk: Walk, settings: Any) -> None:
    fill(walk, 3)
    settings.PINPOOL = {"PAGE_SIZE": 2, "MAX_PAGE_SIZE": 2}
    assert len(walk.page(walk.papers)["results"]) == 2
    assert faults_in(walk.client.get(f"{walk.papers}?page_size=3")) == {("/page_size", "invalid")}


@pytest.mark.parametrize(
    "given",
    ["x", "é", "%ff", cursor("x:3"), cursor("3"), cursor("f"), cursor(b"f:\xff"), cursor("f:\0"), cursor("F:a"),
     "a" * 5000],
)  # fmt: skip
def test_cursors_of_no_list(walk: Walk, given: str) -> None:
    assert faults_in(walk.client.get(walk.papers, {"cursor": given})) == {("/cursor", "invalid")}


@pytest.mark.parametrize("edge", ["", "ten", "1.5", "NaN", "1e5", "true", "9" * 5000, "{}", "None", "²"])
def test_cursors_that_are_no_number_where_numbers_count(walk: Walk, edge: str) -> None:
    assert faults_in(walk.client.get(walk.exposures, {"cursor": cursor("f:" + edge)})) == {("/cursor", "invalid")}


@pytest.mark.parametrize("edge", ["0001-01-01T00:00:00+23:59", "9999-12-31T23:59:59-23:59", "2026-02-30"])
def test_cursors_that_are_no_instant_where_instants_count(walk: Walk, edge: str) -> None:
    at = f"/api/v1/clubs/{walk.club.slug}/imports/"
    assert faults_in(walk.client.get(at, {"cursor": cursor("f:" + edge)})) == {("/cursor", "invalid")}


@pytest.mark.parametrize("edge", ["0", "-1", "9" * 30, "-" + "9" * 30, str(2**63), str(-(2**63) - 1)])
@pytest.mark.parametrize("way", ["f:", "b:"])
def test_cursors_beyond_every_row(walk: Walk, way: str, edge: str) -> None:
    ExposureLogFactory.create(spec__camera__club=walk.club)
    assert len(walk.page(walk.exposures + "?cursor=" + cursor(way + edge))["results"]) in {0, 1}


@settings(derandomize=True, max_examples=60)
@given(count=st.integers(0, 12), size=st.integers(1, 5), newest_first=st.booleans(), data=st.data())
def test_any_walk_sees_each_row_once(count: int, size: int, newest_first: bool, data: st.DataObject) -> None:
    """Rows in memory stand in for the table; a random walk there and back lands where it started."""
    rows = Rows(list(range(1, count + 1)))
    whole = sorted(rows.keys, reverse=newest_first)
    address, at = f"http://x/?page_size={size}", 0
    for _ in range(data.draw(st.integers(1, 8))):
        page = page_of_rows(rows.request(address), rows, key="number", newest_first=newest_first)
        found = [row.number for row in page.results]
        assert found == whole[at : at + len(found)]
        assert (page.next is None) == (at + len(found) >= count)
        assert (page.previous is None) == (at <= 0)
        ways = [way for way in ("next", "previous") if getattr(page, way)]
        if not ways:
            break
        way = data.draw(st.sampled_from(ways))
        at = at + len(found) if way == "next" else max(0, at - size)
        address = getattr(page, way)


class Rows:
    """The few methods of a queryset that a page needs, over numbers in memory."""

    model = ExposureLog

    def __init__(self, keys: list[int]) -> None:
        self.keys = keys

    def filter(self, **by: int) -> "Rows":
        [(name, edge)] = by.items()
        return Rows([key for key in self.keys if (key > edge if name.endswith("gt") else key < edge)])

    def order_by(self, name: str) -> list[Any]:
        return [ExposureLog(number=key) for key in sorted(self.keys, reverse=name.startswith("-"))]

    @staticmethod
    def request(address: str) -> Any:
        return Request(APIRequestFactory().get(address))
