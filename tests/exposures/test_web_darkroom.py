"""The darkroom page as the server gives it: whose process, which negatives, and the result as a correction."""

import json
import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from exposures.models import ExposureLog
from exposures.web.darkroom import came_out, told_of
from tests.factories import CameraSpecFactory, ExposureLogFactory, MembershipFactory


def page_of(here: Any, client: Client, user: Any = None, **query: str) -> Any:
    client.force_login(user or here.member.user)
    return client.get(reverse("darkroom_web:page", args=[here.club.slug]), query)


def test_the_steps_are_those_of_the_papers_last_process(here: Any, client: Client) -> None:
    here.log(process={"developer": "Bladderwrack", "time": "90 s", "agitation": "every 10 s"}, result=None)
    page = page_of(here, client)
    assert [step.title for step in page.context["steps"]] == [
        "Developer", "Water rinse", "Stop bath", "Water rinse", "Fixer", "Wash",
    ]  # fmt: skip
    assert (page.context["steps"][0].low_s, page.context["steps"][0].high_s) == (90.0, 90.0)
    text = page.content.decode()
    assert 'data-low="90.0"' in text
    assert "every 10 s" in text
    assert "wear nitrile gloves" in text
    assert "licensed electrician" in text
    assert "carries silver" in text


def test_without_a_process_the_usual_times_say_what_they_are(here: Any, client: Client) -> None:
    text = page_of(here, client).content.decode()
    assert "these are usual times for paper on a resin-coated" in text
    assert "common practice, no source" in text


def test_only_ones_own_unjudged_negatives_wait(here: Any, client: Client) -> None:
    mine = here.log(result=None)
    here.log(result={"judged_stops": 0})
    other = MembershipFactory.create(club=here.club)
    ExposureLogFactory.create(spec=here.spec, paper=here.paper, member=other.user, result=None, result_stops=None)
    assert [str(log.id) for log in page_of(here, client).context["waiting"]] == [mine["id"]]


def test_the_last_ones_of_that_camera_stand_beside(here: Any, client: Client) -> None:
    here.log(result={"judged_stops": 0.5}, taken_at="2026-04-01T12:00:00Z")
    here.log(result={"right_time": "3 min"}, taken_at="2026-04-02T12:00:00Z")
    CameraSpecFactory.create(camera__club=here.club, camera__code="T2")
    here.log(camera="T2", result={"judged_stops": -2})
    here.log(result=None)
    found = page_of(here, client).context["beside"]
    assert [each.came_out for each in found] == ["3 min would have been right", "½ stop over"]


def test_a_result_is_a_correction_of_the_whole_entry(here: Any, client: Client) -> None:
    facts: dict[str, Any] = {
        "process": {"developer": "Bladderwrack", "time": "90 s"}, "note": "thin cloud", "visibility": "shared",
        "place": {"latitude": "52.1 deg", "longitude": "-5.2 deg"}, "filter_stops": 1.5,
        "reading": {"time": "1/30 s", "f_number": 16},
    }  # fmt: skip
    entry = here.log(result=None, **facts)
    log = page_of(here, client).context["log"]
    body = {name: json.loads(value) for name, value in told_of(log).items()} | {"result": {"judged_stops": -0.5}}
    response = here.client.post(f"{here.at}exposures/{entry['id']}/corrections/", body)
    assert response.status_code == 201, response.content
    judged = response.json()
    same = ("camera", "paper", "taken_at", "reading", "filter_stops", "exposure_time", "process", "note", "place")
    assert {name: judged[name] for name in same} == {name: entry[name] for name in same}
    assert (judged["visibility"], judged["result"]) == ("shared", {"judged_stops": -0.5})
    assert page_of(here, client).context["waiting"] == []


def test_a_name_cannot_break_out_of_the_page(here: Any, client: Client) -> None:
    here.log(result=None, note="\"><script>alert('salt')</script>")
    text = page_of(here, client).content.decode()
    assert "<script>alert" not in text


def test_what_one_may_not_see_is_not_there(here: Any, client: Client) -> None:
    guest = MembershipFactory.create(club=here.club, role="guest")
    assert page_of(here, client, guest.user).status_code == 403
    assert page_of(here, client, MembershipFactory.create().user).status_code == 404
    assert page_of(here, client, log=str(uuid.uuid4())).status_code == 404
    assert page_of(here, client, paper="nonsense").status_code == 404


@pytest.mark.parametrize(
    ("stops", "words"), [(0.0, "just right"), (0.5, "½ stop over"), (-1.5, "1½ stops under"), (-0.02, "just right")]
)
def test_results_in_words(stops: float, words: str) -> None:
    assert came_out(ExposureLog(result_stops=stops)) == words


def test_as_many_queries_for_many_as_for_few(here: Any, client: Client, django_assert_max_num_queries: Any) -> None:
    for count in (1, 12):
        for _ in range(count):
            here.log(result=None)
            here.log(result={"judged_stops": 0})
        page_of(here, client)
        with django_assert_max_num_queries(12):
            client.get(reverse("darkroom_web:page", args=[here.club.slug]))
