"""Who sees a log: its author alone, the club, or also the pool; and where it was taken, never finer than 0.1°."""

from typing import Any

import pytest
from django.db import IntegrityError, transaction

from clubs.models import TrailEntry
from exposures.admin import ExposureLogAdmin
from exposures.models import Doubt, EvidenceCell, ExposureLog, Pool
from exposures.pooled import pooled
from tests.exposures.test_corrections import check_cells, correct, listed
from tests.factories import ExposureLogFactory, MembershipFactory
from tests.problems import faults_in, problem_of

JUDGED = {"result": {"judged_stops": 0.5}}


@pytest.mark.parametrize(
    ("told", "visibility"),
    [({}, "club"), ({"shared": False}, "club"), ({"shared": True}, "shared"), ({"visibility": "club"}, "club"),
     ({"visibility": "shared"}, "shared"), ({"visibility": "private"}, "private"),
     ({"visibility": "shared", "shared": True}, "shared"), ({"visibility": "private", "shared": False}, "private"),
     ({"visibility": "club", "shared": False}, "club")],
    ids=str,
)  # fmt: skip
def test_what_is_told_of_who_may_see_it(here: Any, told: dict[str, Any], visibility: str) -> None:
    entry = here.log(**told)
    assert (entry["visibility"], entry["shared"]) == (visibility, visibility == "shared")


@pytest.mark.parametrize(
    ("told", "code"),
    [({"visibility": "private", "shared": True}, "contradiction"),
     ({"visibility": "club", "shared": True}, "contradiction"),
     ({"visibility": "shared", "shared": False}, "contradiction"), ({"visibility": "public"}, "invalid_choice"),
     ({"visibility": None}, "null"), ({"visibility": True}, "invalid_choice")],
    ids=str,
)  # fmt: skip
def test_contradictions(here: Any, told: dict[str, Any], code: str) -> None:
    assert faults_in(here.client.post(here.at + "exposures/", here.body(**told))) == {("/visibility", code)}


def test_a_private_log_is_there_for_its_author_alone(here: Any, as_user: Any) -> None:
    mine, ours = here.log(visibility="private", **JUDGED), here.log(**JUDGED)
    assert listed(here) == [ours["id"], mine["id"]]
    assert listed(here, "visibility=private") == [mine["id"]]
    assert listed(here, "visibility=club") == [ours["id"]]
    for role in ("member", "keeper"):
        other = as_user(MembershipFactory.create(club=here.club, role=role).user)
        problem_of(other.get(f"{here.at}exposures/{mine['id']}/"), 404)
        problem_of(correct(here, mine, other), 404)
        for query in ("", "corrected=true", "visibility=private", f"member={here.member.user.get_username()}"):
            rows = other.get(f"{here.at}exposures/?{query}").json()["results"]
            assert mine["id"] not in [row["id"] for row in rows]
    assert not TrailEntry.objects.filter(subject__contains=mine["id"]).exists()
    assert list(ExposureLogAdmin(ExposureLog, None).get_queryset(None)) == [ExposureLog.objects.get(id=ours["id"])]  # type: ignore[arg-type]


def test_a_private_log_counts_for_nobody(here: Any) -> None:
    """No cell, no fit, no comparison, no doubt; nor in the pool."""
    here.season()
    before = pooled(here.club)
    wild = here.log(visibility="private", exposure_time="10 s", result={"judged_stops": 9})
    assert wild["grade"] == "judged"
    after = pooled(here.club)
    assert after.scope.fingerprint == before.scope.fingerprint
    assert sum(EvidenceCell.objects.values_list("logs", flat=True)) == 60
    check_cells(here.club)
    again = pooled(here.club)  # every log weighed anew
    assert again.fit.cells.logs.sum() == 60
    compared = here.client.get(here.at + "comparison/?by=member").json()
    assert wild["id"] not in str(compared)
    assert not Doubt.objects.filter(log__id=wild["id"]).exists()
    assert here.client.get(here.at + "doubts/").json()["results"] == []
    public = here.log(exposure_time="10 s", result={"judged_stops": 9})
    assert public["id"] in str(here.client.get(here.at + "comparison/?by=member").json())


def test_the_same_entry_with_another_visibility_is_another(here: Any) -> None:
    entry = here.log(visibility="private")
    for other in ({}, {"shared": True}):
        problem_of(here.client.post(here.at + "exposures/", here.body(id=entry["id"], **other)), 409)
    assert here.log(200, id=entry["id"], visibility="private") == entry


def test_publishing_by_correction(here: Any) -> None:
    mine = here.log(visibility="private", note="secret", **JUDGED)
    ours = correct(here, mine, visibility="shared", note="told", **JUDGED).json()
    assert (ours["visibility"], EvidenceCell.objects.get().shared) == ("shared", True)
    check_cells(here.club)
    told = TrailEntry.objects.get()
    assert told.before is None
    assert "secret" not in str(told.after)


def test_what_the_club_has_seen_cannot_become_private(here: Any) -> None:
    ours = here.log(**JUDGED)
    assert faults_in(correct(here, ours, visibility="private"), 422) == {("/visibility", "seen_already")}
    check_cells(here.club)
    assert listed(here) == [ours["id"]]
    mine = here.log(visibility="private")
    assert correct(here, mine, visibility="private", note="x").status_code == 201


def test_sharing_and_no_longer_sharing(here: Any) -> None:
    """Another club of the pool counts what is shared now, not what was."""
    other = MembershipFactory.create().club
    for club in (here.club, other):
        Pool.objects.update_or_create(club=club, defaults={"joined": True})
    entry = here.log(shared=True, **JUDGED)
    assert pooled(other).fit.cells.logs.sum() == 1
    less = correct(here, entry, **JUDGED).json()
    assert len(pooled(other).fit.cells) == 0
    correct(here, less, shared=True, **JUDGED)
    assert pooled(other).fit.cells.logs.sum() == 1
    assert pooled(here.club).fit.cells.logs.sum() == 1


def test_shared_and_private_at_once_cannot_be_stored(here: Any) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        ExposureLogFactory.create(spec=here.spec, paper=here.paper, shared=True, private=True)


# ------------------------------------------------------------------------------------------------------- place


def test_a_place_is_rounded_before_it_is_stored(here: Any) -> None:
    entry = here.log(place={"latitude": "52.1498765 deg", "longitude": {"value": -5.2512345, "unit": "deg"}})
    assert entry["place"] == {"latitude": {"value": 52.1, "unit": "deg"}, "longitude": {"value": -5.3, "unit": "deg"}}
    [row] = ExposureLog.objects.values()
    [told] = TrailEntry.objects.values()
    assert "4987" not in str(row) + str(told)
    assert "2512" not in str(row) + str(told)
    assert here.log()["place"] is None
    assert here.log(place=None)["place"] is None


def test_places_that_round_to_the_same_are_the_same(here: Any) -> None:
    place = {"latitude": "52.12 deg", "longitude": "5.2 deg"}
    entry = here.log(place=place)
    assert here.log(200, id=entry["id"], place=place | {"latitude": "52.08 deg"}) == entry
    for other in (None, place | {"latitude": "52.2 deg"}):
        problem_of(here.client.post(here.at + "exposures/", here.body(id=entry["id"], place=other)), 409)


@pytest.mark.parametrize(
    ("latitude", "longitude"), [("90 deg", "180 deg"), ("-90 deg", "-180 deg"), ("-0.01 deg", "0 deg")]
)
def test_ends_of_the_earth(here: Any, latitude: str, longitude: str) -> None:
    place = here.log(place={"latitude": latitude, "longitude": longitude})["place"]
    assert abs(place["latitude"]["value"]) in {90.0, 0.0}
    assert abs(place["longitude"]["value"]) in {180.0, 0.0}


@pytest.mark.parametrize(
    ("place", "faults"),
    [({"latitude": "52 deg"}, {("/place/longitude", "required")}),
     ({"latitude": "90.01 deg", "longitude": "-181 deg"}, {("/place/latitude", "out_of_range"),
                                                          ("/place/longitude", "out_of_range")}),
     ({"latitude": 52, "longitude": "5 deg"}, {("/place/latitude", "unit_missing")}),
     ({"latitude": "52 deg", "longitude": "5 deg", "name": "creek"}, {("/place/name", "unknown_key")}),
     ("the creek", {("/place", "invalid")})],
    ids=["half", "off_the_globe", "no_unit", "a_name", "words"],
)  # fmt: skip
def test_places_that_are_none(here: Any, place: Any, faults: Any) -> None:
    assert faults_in(here.client.post(here.at + "exposures/", here.body(place=place))) == faults
