"""What a phone takes along: the tables against the live recommendation, whose cameras, and when it is renewed."""

import json
from typing import Any

import numpy as np
import pytest
from django.utils import timezone

from clubs.models import Camera
from exposures.field_kit import MOST_CAMERAS, MOST_PAPERS
from exposures.models import Paper
from exposures.reciprocity.recommendation import LONGEST_SAID_S
from exposures.recommending import recommend
from exposures.thinning import TOLERANCE_STOPS, thinned
from tests.factories import CameraSpecFactory, ExposureLogFactory, MembershipFactory, PaperFactory

#: Rollei RPX 25 [read]: indicated and corrected times, s.
RPX_25 = [[1.0, 1.0], [2.0, 3.0], [10.0, 20.0], [20.0, 50.0], [50.0, 180.0]]


def kit_of(here: Any, client: Any = None) -> Any:
    response = (client or here.client).get(here.at + "field-kit/")
    assert response.status_code == 200, response.content
    return response.json()


def looked_up(kit: Any, paper: Paper, indicated_s: float) -> np.ndarray:
    """Time and both ends of its interval, log₂ of s, by straight lines in log-log, as the phone does it."""
    [rows] = [each["rows"] for each in kit["times"] if "T1" in each["cameras"] and each["paper"] == str(paper.pk)]
    x, *columns = np.log2(np.array(rows)).T
    return np.array([np.interp(np.log2(indicated_s), x, column) for column in columns])


def scattered(here: Any) -> None:
    here.season(scatter=0.4)


def steady(here: Any) -> None:
    here.season(scatter=0.02)


def few(here: Any) -> None:
    here.judged(count=3)


def contradictory(here: Any) -> None:
    """Longer times with less effect: no time would do above 1 s."""
    for time in np.geomspace(5, 3000, 30):
        ExposureLogFactory.create(
            spec=here.spec, paper=here.paper, exposure_time_s=time, indicated_time_s=2 ** (2 - 0.3 * np.log2(time))
        )


def by_its_data_sheet(here: Any) -> None:
    Paper.objects.filter(pk=here.paper.pk).update(published_rows_s=RPX_25, published_source="its sheet")


def vaguely_drilled(here: Any) -> None:
    here.season(scatter=0.2)
    CameraSpecFactory.create(camera=here.spec.camera, number=2, hole_uncertainty_mm=0.2)


def nothing_known(here: Any) -> None:
    pass


@pytest.mark.parametrize(
    "known", [scattered, steady, few, contradictory, by_its_data_sheet, vaguely_drilled, nothing_known]
)
def test_straight_lines_between_rows_are_the_live_recommendation(here: Any, known: Any) -> None:
    known(here)
    kit, camera = kit_of(here), here.spec.camera
    paper = Paper.objects.get(pk=here.paper.pk)
    rng = np.random.default_rng(5)
    assert len(kit["times"][0]["rows"]) < 200
    for stops in rng.uniform(-6.9, 20.9, 120):
        reading = float(np.log2(camera.spec.f_number**2 / (2**stops * paper.nominal_exposure_index / 100)))
        live = recommend(actor=here.member, camera=camera, paper=paper, reading=reading)
        told = np.minimum([live.exposure_time_s, *live.ninety], LONGEST_SAID_S)
        off = np.abs(looked_up(kit, paper, live.indicated_time_s) - np.log2(told))
        assert off.max() < TOLERANCE_STOPS, (stops, off)


def test_thinned_rows_of_a_kink_between_the_checks() -> None:
    """Two straight lines that meet at 0.1 need few rows, and are nowhere off by more than is promised."""

    def kinked(x: Any) -> np.ndarray:
        return np.array([[each if each < 0.1 else 0.1 + 1.7 * (each - 0.1)] for each in x])

    rows = thinned(kinked, [-7.0, -3.0, 1.0, 5.0, 9.0])
    x = np.linspace(-7, 9, 5001)
    assert len(rows) < 20
    off = np.abs(np.interp(x, rows[:, 0], rows[:, 1]) - kinked(x)[:, 0])
    assert off.max() < TOLERANCE_STOPS


def test_the_times_are_the_members_own(here: Any, as_user: Any) -> None:
    here.season(scatter=0.3)
    other = MembershipFactory.create(club=here.club)
    mine, theirs = kit_of(here), kit_of(here, as_user(other.user))
    assert (mine["member"], theirs["member"]) == (here.member.user.get_username(), other.user.get_username())
    assert mine["times"][0]["rows"] != theirs["times"][0]["rows"]
    assert "by 16 logs" in mine["rests_on"]
    assert "You have judged no log yet" in theirs["rests_on"]


def test_what_it_tells(here: Any) -> None:
    here.season()
    here.log(process={"developer": "Bladderwrack", "time": "90 s", "agitation": "every 10 s"}, result=None)
    kit = kit_of(here)
    assert (kit["club"], kit["club_name"]) == (here.club.slug, here.club.name)
    camera, paper = next(each for each in kit["cameras"] if each["code"] == "T1"), kit["papers"][0]
    assert camera["f_number"] == here.spec.f_number
    assert camera["hole_uncertainty_stops"] == pytest.approx(2 * 0.01 / 0.35 / np.log(2))
    assert "logs" in camera["rests_on"]
    assert paper["rests_on"].startswith("60 logs by 4 members with 4 cameras, from 5 s to 50 min")
    assert (paper["shortest"]["text"], paper["longest"]["text"]) == ("5 s", "50 min")
    assert [step["name"] for step in paper["steps"]] == ["develop", "rinse", "stop", "rinse", "fix", "wash"]
    assert paper["steps"][0]["low"]["text"] == paper["steps"][0]["high"]["text"] == "1 min 30 s"
    assert paper["process"]["agitation"] == "every 10 s"
    assert all(step["source"] for step in paper["steps"])


def test_a_private_process_is_nobody_elses(here: Any, as_user: Any) -> None:
    here.log(process={"developer": "Sea lettuce"}, visibility="private")
    other = MembershipFactory.create(club=here.club)
    assert kit_of(here)["papers"][0]["process"]["developer"] == "Sea lettuce"
    assert kit_of(here, as_user(other.user))["papers"][0]["process"] is None


def test_own_and_borrowed_cameras_come_first_and_the_rest_is_cut(here: Any) -> None:
    other = MembershipFactory.create(club=here.club).user
    me, club, until = here.member.user, here.club, timezone.now().date()
    for code, facts in {
        "Z1": {"owner": me},
        "Z2": {"owner": other, "lent_to": me, "lent_until": until},
        "Z3": {"owner": me, "lent_to": other, "lent_until": until},
        "Z4": {"owner": other},
        "A0": {"owner": me, "retired_at": timezone.now()},
    }.items():
        CameraSpecFactory.create(
            camera__club=club, camera__code=code, **{f"camera__{key}": value for key, value in facts.items()}
        )
    told = [(camera["code"], camera["whose"]) for camera in kit_of(here)["cameras"]]
    assert told == [("Z1", "own"), ("Z2", "borrowed"), ("T1", "club"), ("Z3", "another's"), ("Z4", "another's")]
    for _ in range(MOST_CAMERAS):
        CameraSpecFactory.create(camera__club=club)
    for _ in range(MOST_PAPERS):
        PaperFactory.create(club=club)
    here.season()
    kit = kit_of(here)
    assert [camera["code"] for camera in kit["cameras"]][:2] == ["Z1", "Z2"]
    assert kit["left_out"] == {"cameras": 8, "papers": 1}
    assert "Glasswort" in [paper["name"] for paper in kit["papers"]], "the one with logs stays"
    codes = [(code, times["paper"]) for times in kit["times"] for code in times["cameras"]]
    assert len(codes) == len(set(codes)) == MOST_CAMERAS * MOST_PAPERS
    assert len(json.dumps(kit)) < 250_000


def test_it_is_renewed_when_anything_it_rests_on_changes(here: Any) -> None:
    Camera.objects.filter(club=here.club).update(owner=here.member.user)
    tags: list[str] = []

    def renewed() -> bool:
        response = here.client.get(here.at + "field-kit/", headers={"If-None-Match": tags[-1] if tags else '"-"'})
        assert response.status_code in {200, 304}
        tags.append(response["ETag"])
        return response.status_code == 200

    def put(at: str, **body: Any) -> None:
        tag = here.client.get(here.at + at)["ETag"]
        assert here.client.patch(here.at + at, body, headers={"If-Match": tag}).status_code == 200

    assert renewed()
    assert not renewed()
    here.log(result={"judged_stops": 0.5})
    assert renewed()
    assert not renewed()
    put("cameras/T1/", name="Tea caddy, the dented one")
    assert renewed()
    put(f"papers/{here.paper.pk}/", sheets_left=3)
    assert renewed()
    here.log(process="two baths")
    assert renewed()
    CameraSpecFactory.create(camera=here.spec.camera, number=2)
    assert renewed()
    assert not tags[-1].startswith("W/")


def test_a_club_without_cameras_or_papers(as_user: Any) -> None:
    member = MembershipFactory.create(role="guest")
    kit = as_user(member.user).get(f"/api/v1/clubs/{member.club.slug}/field-kit/").json()
    assert (kit["cameras"], kit["papers"], kit["times"], kit["may_log"]) == ([], [], [], False)
