"""Stocks of paper and film: what is told of them, how it is changed, and what that does to the fit."""

from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from clubs.models import TrailEntry
from exposures.models import Paper, PaperMerge, Pool
from exposures.pooled import pooled
from exposures.scopes import Scope
from tests.bodies import CLUB, PAPER_CHANGE
from tests.factories import MembershipFactory, PaperFactory
from tests.problems import faults_in, problem_of

KEYS = {
    "id", "name", "family", "catalogue_key", "nominal_exposure_index", "published", "size", "batch", "expires_on",
    "sheets_left", "retired_at", "note", "created_at", "revision",
}  # fmt: skip
SCRIPT = "<script>alert(1)</script>'\"&"


def add(here: Any, status: int = 201, **more: Any) -> Any:
    response = here.client.post(here.at + "papers/", CLUB["papers/"] | more)
    assert response.status_code == status, response.content
    return response.json()


def change(here: Any, paper: Any, *, tag: str | None = "*", **changes: Any) -> Any:
    key = paper["id"] if isinstance(paper, dict) else paper.pk
    headers = {} if tag is None else {"If-Match": tag}
    return here.client.patch(f"{here.at}papers/{key}/", changes, headers=headers)


# ---------------------------------------------------------------------------------------------------------- add


def test_adding_a_paper(here: Any) -> None:
    paper = add(here)
    assert paper.keys() == KEYS
    assert paper["catalogue_key"] == "kelp matt|graded paper"
    assert {key: paper[key] for key in CLUB["papers/"]} == CLUB["papers/"]
    blank = {"published": None, "size": None, "batch": "", "expires_on": None, "sheets_left": None, "retired_at": None}
    assert {key: paper[key] for key in blank} == blank
    assert here.client.get(f"{here.at}papers/{paper['id']}/").json() == paper
    assert paper in here.client.get(here.at + "papers/").json()["results"]
    again = here.client.post(here.at + "papers/", CLUB["papers/"])
    assert CLUB["papers/"]["name"] in problem_of(again, 409)["detail"]
    with pytest.raises(IntegrityError), transaction.atomic():
        PaperFactory.create(club=here.club, name=paper["name"])
    PaperFactory.create(name=paper["name"])  # another club's
    told = TrailEntry.objects.get()
    assert (told.action, told.subject, told.before) == ("add_paper", "paper Kelp matt", None)
    assert told.after is not None
    assert told.after["nominal_exposure_index"] == 6


def test_what_is_on_the_shelf(here: Any) -> None:
    paper = add(here, size="8x10 in", batch=SCRIPT, expires_on="2031-05-31", sheets_left=25)
    assert paper["size"] == {"width": {"value": 203.2, "unit": "mm"}, "height": {"value": 254.0, "unit": "mm"}}
    assert (paper["batch"], paper["expires_on"], paper["sheets_left"]) == (SCRIPT, "2031-05-31", 25)
    inches = here.client.get(f"{here.at}papers/{paper['id']}/?lengths=in").json()["size"]
    assert inches == {"width": {"value": 8.0, "unit": "in"}, "height": {"value": 10.0, "unit": "in"}}
    other = add(here, name="Other", size={"width": "4 in", "height": "127 mm"})
    assert {key: side["value"] for key, side in other["size"].items()} == {"width": 101.6, "height": 127.0}


@pytest.mark.parametrize(
    ("facts", "fault"),
    [
        ({"size": "8x10"}, ("/size", "invalid_choice")),
        ({"size": {"width": "4 in"}}, ("/size/height", "required")),
        ({"size": {"width": 4, "height": "5 in"}}, ("/size/width", "unit_missing")),
        ({"size": {"width": "0 mm", "height": "5 in"}}, ("/size/width", "out_of_range")),
        ({"expires_on": "31.5.2031"}, ("/expires_on", "invalid")),
        ({"expires_on": "2031-02-30"}, ("/expires_on", "invalid")),
        ({"expires_on": 2031}, ("/expires_on", "invalid")),
        ({"sheets_left": -1}, ("/sheets_left", "min_value")),
        ({"sheets_left": 2.5}, ("/sheets_left", "invalid")),
        ({"sheets_left": True}, ("/sheets_left", "invalid")),
        ({"sheets_left": 10**12}, ("/sheets_left", "max_value")),
        ({"batch": "a" * 61}, ("/batch", "max_length")),
        ({"published": {"rows": [["1 s", "2 s"]]}}, ("/published/source", "required")),
        ({"club": 1}, ("/club", "unknown_key")),
        ({"catalogue_key": "x|y"}, ("/catalogue_key", "unknown_key")),
        ({"imported_in": None}, ("/imported_in", "unknown_key")),
    ],
    ids=str,
)
def test_facts_that_are_none(here: Any, facts: dict[str, Any], fault: tuple[str, str]) -> None:
    assert fault in faults_in(here.client.post(here.at + "papers/", CLUB["papers/"] | facts))
    assert fault in faults_in(change(here, here.paper, **facts))
    assert Paper.objects.get().revision == 1


# ------------------------------------------------------------------------------------------------------- change


def test_what_is_left_out_of_a_change_stays(here: Any) -> None:
    rows = [["1 s", "1 s"], ["10 s", "20 s"]]
    paper = add(here, size="5x7 in", sheets_left=25, published={"rows": rows, "source": "an invented sheet"})
    response = change(here, paper, tag='"r1"', sheets_left=24)
    assert response["ETag"] == '"r2"'
    now = response.json()
    assert now == paper | {"sheets_left": 24, "revision": 2}
    assert here.client.get(f"{here.at}papers/{paper['id']}/").json() == now
    cleared = change(here, paper, size=None, sheets_left=None, published=None, note="").json()
    assert cleared == paper | {"size": None, "sheets_left": None, "published": None, "note": "", "revision": 3}
    assert change(here, paper, note="").json()["revision"] == 3  # nothing changed
    told = TrailEntry.objects.order_by("pk")[1]
    assert (told.action, told.before, told.after) == ("change_paper", {"sheets_left": 25}, {"sheets_left": 24})


def test_a_change_must_say_of_what(here: Any) -> None:
    problem_of(change(here, here.paper, tag=None, note="x"), 428)
    problem_of(change(here, here.paper, tag='"r2"', note="x"), 412)
    assert change(here, here.paper, tag='"r1"', **PAPER_CHANGE).status_code == 200
    problem_of(change(here, here.paper, tag='"r1"', note="x"), 412)
    assert Paper.objects.get().note == ""


def test_taking_a_paper_out_of_use_and_back(here: Any) -> None:
    other = add(here)
    assert change(here, here.paper, retired=False).json()["retired_at"] is None
    since = change(here, here.paper, retired=True).json()["retired_at"]
    assert since is not None
    assert change(here, here.paper, retired=True).json()["retired_at"] == since

    def listed(query: str) -> list[str]:
        return [row["name"] for row in here.client.get(f"{here.at}papers/?{query}").json()["results"]]

    assert listed("retired=true") == ["Glasswort"]
    assert listed("retired=false") == [other["name"]]
    assert listed("page_size=5") == ["Glasswort", other["name"]]
    assert here.log()["paper"] == str(here.paper.id)  # what was exposed before is often written down later
    assert change(here, here.paper, retired=False).json()["retired_at"] is None


def test_a_name_is_taken_once(here: Any) -> None:
    add(here)
    problem_of(change(here, here.paper, name="Kelp matt"), 409)
    assert Paper.objects.get(pk=here.paper.pk).revision == 1
    assert change(here, here.paper, name="Glasswort").status_code == 200


def test_another_clubs_paper_is_not_there(here: Any) -> None:
    problem_of(change(here, PaperFactory.create(), note="x"), 404)


def test_only_leaders_and_keepers_change_papers(here: Any, as_user: Any) -> None:
    member = as_user(MembershipFactory.create(club=here.club).user)
    problem_of(member.patch(f"{here.at}papers/{here.paper.pk}/", {"note": "x"}, headers={"If-Match": "*"}), 403)


# ---------------------------------------------------------------------------------------------------------- fit


def test_the_time_does_not_hang_on_the_nominal_index(here: Any) -> None:
    """What the logs say of a paper is told from its nominal index, but the light it needs is what it is."""
    here.season()
    before = here.recommend()
    change(here, here.paper, nominal_exposure_index=12)
    after = here.recommend()
    assert after["exposure_time"]["value"] == pytest.approx(before["exposure_time"]["value"], rel=0.01)
    assert after["indicated_time"]["value"] == pytest.approx(before["indicated_time"]["value"] / 2)
    [known] = here.client.get(here.at + "reciprocity/").json()["results"]
    assert known["exposure_index"] == pytest.approx(6 * 2**0.5, rel=0.1)  # half a stop faster than its name says


def test_a_new_name_or_family_takes_the_logs_along(here: Any) -> None:
    here.season()
    before, fingerprint = here.recommend(), Scope(here.club).fingerprint
    renamed = change(here, here.paper, name="Glasswort  No.2").json()
    assert renamed["catalogue_key"] == "glasswort no 2|graded paper"
    assert Scope(here.club).fingerprint != fingerprint
    assert here.recommend()["exposure_time"]["value"] == pytest.approx(before["exposure_time"]["value"], rel=1e-6)
    change(here, here.paper, family="fibre paper")
    assert pooled(here.club).scope.families == {"glasswort no 2|fibre paper": "fibre paper"}
    assert here.recommend()["exposure_time"]["value"] == pytest.approx(before["exposure_time"]["value"], rel=1e-3)


@pytest.mark.parametrize(
    ("changes", "counts"),
    [({"nominal_exposure_index": 12}, True), ({"name": "Samphire"}, True), ({"family": "film"}, True),
     ({"name": "GLASSWORT"}, False), ({"sheets_left": 3, "note": "x", "batch": "y", "retired": True}, False),
     ({"nominal_exposure_index": 6}, False)],
    ids=str,
)  # fmt: skip
def test_what_makes_fits_anew_here_and_in_the_pool(here: Any, changes: dict[str, Any], counts: bool) -> None:
    here.log(result={"judged_stops": 0.5}, shared=True)
    other = MembershipFactory.create().club
    for club in (here.club, other):
        Pool.objects.update_or_create(club=club, defaults={"joined": True})
    before = [Scope(club).fingerprint for club in (here.club, other)]
    assert change(here, here.paper, **changes).status_code == 200
    after = [Scope(club).fingerprint for club in (here.club, other)]
    assert [one != another for one, another in zip(before, after, strict=True)] == [counts, counts]


def test_a_paper_that_a_merge_names_keeps_its_key(here: Any) -> None:
    add(here)
    merge = PaperMerge.objects.create(club=here.club, key="kelp matt|graded paper", into_key="glasswort|graded paper")
    for name, changes in (("Glasswort", {"name": "Samphire"}), ("Kelp matt", {"family": "film"})):
        paper = Paper.objects.get(name=name)
        assert "merge" in problem_of(change(here, paper, **changes), 409)["detail"]
        assert Paper.objects.get(pk=paper.pk).revision == 1
        assert change(here, paper, nominal_exposure_index=7).status_code == 200
    merge.delete()
    assert change(here, here.paper, name="Samphire").status_code == 200


# -------------------------------------------------------------------------------------------------------- cost


def test_two_hundred_papers_cost_as_many_queries_as_two(here: Any) -> None:
    PaperFactory.create_batch(199, club=here.club, width_mm=100.0, height_mm=125.0)
    costs = []
    for size in (2, 200):
        with CaptureQueriesContext(connection) as queries:
            assert len(here.client.get(f"{here.at}papers/?page_size={size}").json()["results"]) == size
        costs.append(len(queries))
    assert costs == [2, 2]
