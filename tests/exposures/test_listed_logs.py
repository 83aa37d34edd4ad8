"""The log's list reads rows by statements of its own: it must say what each entry's own address says."""

from decimal import Decimal
from typing import Any

import pytest

from clubs.models import Person
from exposures.models import ExposureLog, NegativePicture
from tests.exposures.test_pictures import put
from tests.factories import ExposureLogFactory, MembershipFactory

PROCESS = {"developer": "Saltmarsh soup", "temperature_c": 20.0, "time_s": 90.0, "volume_ml": 500.0, "method": "tray",
           "typed": {"temperature": "68 °F", "time": "1 min 30 s", "volume": {"value": 0.5, "unit": "l"}}}  # fmt: skip


@pytest.fixture
def entries(here: Any) -> list[ExposureLog]:
    """One of each kind, the oldest first."""
    facts = {"spec": here.spec, "paper": here.paper}
    nobody = Person.objects.create(club=here.club, name="")
    somebody = Person.objects.create(club=here.club, name=here.member.user.get_username())
    logs = [
        ExposureLogFactory.create(**facts, member=here.member.user, result=None, result_stops=None),
        ExposureLogFactory.create(**facts, member=None),
        ExposureLogFactory.create(**facts, member=None, person=nobody),
        ExposureLogFactory.create(**facts, member=None, person=somebody),
        ExposureLogFactory.create(**facts, member=here.member.user, private=True),
        ExposureLogFactory.create(
            **facts, shared=True, process=PROCESS, note="½ past – noon", reason="typed wrong", filter_stops=1.5,
            place_latitude=Decimal("-52.9"), place_longitude=Decimal("0.0"), right_time_s=300.0, result_stops=None,
            reading={"meter": {"n": 10**30, "said": "„bright“"}}, result={"right_time": "5 min"},
            exposure_time_s=0.004, taken_at="2026-05-01T12:00:00.000123Z",
        ),
    ]  # fmt: skip
    NegativePicture.objects.create(log=logs[0], image="x.jpg", width_pixels=60, height_pixels=40)
    return logs


def rows(here: Any, query: str = "") -> list[dict[str, Any]]:
    response = here.client.get(f"{here.at}exposures/?{query}")
    assert response.status_code == 200, response.content
    return response.json()["results"]


def tag(here: Any, query: str = "", client: Any = None) -> str:
    """Of the page; and whoever has it is told that nothing changed, by the brief statement too."""
    client, at = client or here.client, f"{here.at}exposures/?{query}"
    told = client.get(at)["ETag"]
    again = client.get(at, HTTP_IF_NONE_MATCH=told)
    assert (again.status_code, again.content, again["ETag"]) == (304, b"", told)
    return told


def test_each_entry_is_what_its_own_address_says(here: Any, entries: list[ExposureLog]) -> None:
    corrected = here.log(note="wnidy")
    body = here.body(note="windy", reason="a slip")
    made = here.client.post(f"{here.at}exposures/{corrected['id']}/corrections/", body)
    assert made.status_code == 201, made.content
    found = rows(here, "corrected=true")
    assert [row["id"] for row in found[2:]] == [str(log.id) for log in reversed(entries)]
    for row in found:
        assert row == here.client.get(f"{here.at}exposures/{row['id']}/").json()
    assert (found[0]["corrects"], found[1]["corrected_by"]) == (found[1]["id"], found[0]["id"])
    everything, private, namesake, nameless, former, first = found[2:]
    assert everything["place"]["latitude"] == {"value": -52.9, "unit": "deg"}
    assert everything["reading"]["meter"]["n"] == 10**30, "as written"
    assert everything["taken_at"] == "2026-05-01T12:00:00.000123Z"
    assert private["visibility"] == "private"
    assert (namesake["member"], namesake["without_account"]) == (first["member"], True)
    assert (nameless["member"], nameless["without_account"]) == ("somebody without an account", True)
    assert (former["member"], former["without_account"]) == (None, False)
    assert first["picture"]["width_pixels"] == 60


def test_filtered_and_turned_pages_say_the_same(here: Any, entries: list[ExposureLog]) -> None:
    ExposureLog.objects.filter(pk=entries[1].pk).update(corrected_at=entries[1].created_at)
    found = rows(here)
    assert len(found) == 5, "what is corrected is left out unless it is asked for"
    assert rows(here, f"paper={here.paper.pk}") == found
    first = here.client.get(f"{here.at}exposures/?page_size=2").json()
    second = here.client.get(first["next"]).json()
    assert first["results"] + second["results"] == found[:4]
    assert here.client.get(second["previous"]).json()["results"] == first["results"]


def test_a_private_entry_is_its_authors_alone(here: Any, entries: list[ExposureLog], as_user: Any) -> None:
    """On the compiled statement, and on the brief one: another's tag does not give it away."""
    other = as_user(MembershipFactory.create(club=here.club).user)
    private = str(entries[4].id)
    assert private in [row["id"] for row in rows(here)]
    before = tag(here, client=other)
    assert private not in [row["id"] for row in other.get(f"{here.at}exposures/").json()["results"]]
    assert before != tag(here), "what one sees is no answer for the other"
    ExposureLog.objects.filter(pk=entries[4].pk).delete()
    assert before == tag(here) == tag(here, client=other)


def test_whatever_is_shown_differently_has_another_tag(here: Any, entries: list[ExposureLog]) -> None:
    seen = [tag(here)]

    def changed(what: str) -> None:
        seen.append(tag(here))
        assert seen[-1] not in seen[:-1], what

    logged = here.log()
    changed("a new entry")
    at = f"{here.at}exposures/{logged['id']}/"
    assert put(here, logged).status_code == 200
    changed("a picture")
    assert here.client.delete(at + "picture/", headers={"If-Match": "*"}).status_code == 200
    changed("no picture")
    assert here.client.post(at + "corrections/", here.body(reason="a slip")).status_code == 201
    changed("a correction")
    Person.objects.filter(pk=entries[3].person_id).update(name="Wil (invented)")
    changed("somebody's name")
    Person.objects.filter(pk=entries[2].person_id).delete()
    changed("somebody gone")
    users = type(here.member.user).objects.filter(pk=here.member.user_id)
    users.update(**{here.member.user.USERNAME_FIELD: "renamed"})
    changed("an account's name")
    entries[5].member.delete()
    changed("an account gone")


def test_what_is_stored_between_two_askings_is_shown(here: Any) -> None:
    """A tag is of the moment at which the rows were read: who has an older one gets the rows."""
    old = tag(here)
    here.log()
    response = here.client.get(f"{here.at}exposures/", HTTP_IF_NONE_MATCH=old)
    assert (response.status_code, len(response.json()["results"])) == (200, 1)
