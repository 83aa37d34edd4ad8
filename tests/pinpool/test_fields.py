"""`?fields=`: only the keys a caller asks for, and a misspelt one is refused."""

from typing import Any

import pytest

from tests.factories import MembershipFactory, PaperFactory
from tests.problems import faults_in


@pytest.fixture
def papers(as_user: Any) -> tuple[Any, str]:
    member = MembershipFactory.create()
    PaperFactory.create(club=member.club, name="Glasswort")
    PaperFactory.create(club=member.club, name="Samphire")
    return as_user(member.user), f"/api/v1/clubs/{member.club.slug}/papers/"


def test_of_each_row_on_a_page(papers: Any) -> None:
    client, at = papers
    page = client.get(at + "?fields=name,family").json()
    assert page == {
        "next": None, "previous": None,
        "results": [{"name": name, "family": "graded paper"} for name in ("Glasswort", "Samphire")],
    }  # fmt: skip
    assert client.get(at + "?fields=name&page_size=1").json()["results"] == [{"name": "Glasswort"}]


def test_of_one_object(papers: Any) -> None:
    client, at = papers
    [one, _] = client.get(at).json()["results"]
    response = client.get(f"{at}{one['id']}/?fields=revision")
    assert response.json() == {"revision": 1}
    assert response["ETag"] == '"r1"'


def test_an_empty_page_has_nothing_to_leave_out(papers: Any) -> None:
    client, at = papers
    assert client.get(at.replace("papers", "cameras") + "?fields=code").json()["results"] == []


@pytest.mark.parametrize("asked", ["colour", "name,colour", "name,", "Name", "name, family", "name,,family"])
def test_names_that_are_none(papers: Any, asked: str) -> None:
    client, at = papers
    response = client.get(f"{at}?fields={asked}")
    assert faults_in(response) == {("/fields", "unknown_field")}
    assert "nominal_exposure_index" in response.json()["errors"][0]["detail"]


def test_a_long_list_of_such_names_gets_no_far_longer_answer(papers: Any) -> None:
    """Everybody may ask some addresses, as often as they like."""
    client, at = papers
    keys = client.get(at).json()["results"][0].keys()
    asked = ",".join(f"k{number}" for number in range(1000))
    refusal = client.get(f"{at}?fields={asked},{asked}")
    assert len(refusal.json()["errors"]) == len(keys)
    assert len(client.get(f"{at}?fields=no,no").json()["errors"]) == 1


def test_it_is_for_reading(papers: Any) -> None:
    client, at = papers
    assert faults_in(client.post(at + "?fields=name", {})) == {("/fields", "unknown_query")}
