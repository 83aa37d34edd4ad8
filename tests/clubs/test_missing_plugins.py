"""Cameras outlive the plug-in that their film planes came with: each says what is missing, and the rest is as ever."""

from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from django.test import Client
from rest_framework.test import APIClient

from clubs.models import Camera, Design
from optics.core.profiles import flat
from pinpool.plugins import registry
from pinpool.plugins.loading import find, load_all
from pinpool.plugins.model import Contribution, Parameter, Plugin
from tests.factories import (
    CameraFactory,
    CameraSpecFactory,
    ExposureLogFactory,
    MembershipFactory,
    PaperFactory,
    PlaceFactory,
    WorkshopFactory,
)  # fmt: skip
from tests.problems import faults_in, problem_of

SWUNG = {
    "kind": "swung", "width": "90 mm", "swing": "30 deg", "height": "8 cm", "hole_offset": {"y": "2 mm"}, "turns": 2,
    "corners": [["-4 cm", "0 mm"], ["4 cm", "0 mm"]], "paper": "thick", "waits": [["1 s", "2 s"], ["3 s", "5 s"]],
}  # fmt: skip
SAID = "No plug-in here offers film_planes “swung”; it came with saltmarsh_swing, so install that again."


def swung(*, width_mm: float, swing_rad: float, hole_offset_x_mm: float, **_more: Any) -> Any:
    return flat(width_mm=width_mm, distance_mm=70.0 * np.cos(swing_rad), hole_offset_x_mm=hole_offset_x_mm)


PLUGIN = Plugin("saltmarsh_swing", "1", (1, 0), film_planes=(
    Contribution("swung", "a swung back", "invented", swung, (
        Parameter("width", "length", "of the film"), Parameter("swing", "angle", "of the back"),
        Parameter("turns", "number", "of its screw"), Parameter("corners", "points", "that were measured"),
        Parameter("paper", "text", "in it"), Parameter("waits", "rows", "between turns"),
    )),
))  # fmt: skip


#: The entry point by which it is found.
OFFER = SimpleNamespace(
    name="swing", value="swing:plugin", dist=SimpleNamespace(name="saltmarsh-swing"), load=lambda: PLUGIN
)


@dataclass
class Club:
    """A keeper's clients, and where the club stands."""

    api: APIClient
    browser: Client
    at: str
    pages: str
    design: int
    workshop: int
    code: str


@pytest.fixture
def shown() -> dict[str, Any]:
    """What the API said of the camera's film plane while its plug-in was there."""
    return {}


@pytest.fixture
def club(as_user: Any, shown: dict[str, Any]) -> Club:
    """A club that made two cameras and a design by a plug-in, and then lost that."""
    keeper = MembershipFactory.create(role="keeper", club__plugins=["saltmarsh_swing"])
    club, api, browser = keeper.club, as_user(keeper.user), Client()
    browser.force_login(keeper.user)
    at = f"/api/v1/clubs/{club.slug}/"
    spec = {"film_plane": SWUNG, "hole": {"diameter": "0.3 mm"}}
    with registry.trying(load_all([*find(), OFFER])):
        assert api.post(at + "cameras/", {"code": "S1", "name": "Slide box", "spec": spec}).status_code == 201
        second = spec | {"hole": {"diameter": "0.4 mm"}}
        assert api.post(at + "cameras/S1/specs/", second, HTTP_IF_MATCH=etag(api, at)).status_code == 201
        shown |= api.get(at + "cameras/S1/").json()["spec"]
        design = {**spec, "name": "Slide box", "wall_thickness": "2 mm"}
        assert api.post(at + "designs/", design).status_code == 201
    CameraSpecFactory.create(camera=CameraFactory.create(club=club, code="T1"))
    paper = PaperFactory.create(club=club)
    ExposureLogFactory.create(spec=Camera.objects.get(code="S1").specs.first(), paper=paper, member=keeper.user)
    made = Design.objects.get()
    place = PlaceFactory.create(workshop=WorkshopFactory.create(club=club, design=made, paper=paper))
    return Club(api, browser, at, f"/clubs/{club.slug}/", made.pk, place.workshop.pk, place.code)


def etag(api: APIClient, at: str) -> str:
    return str(api.get(at + "cameras/S1/")["ETag"])


def test_what_is_stored_is_read_as_ever(club: Club, shown: dict[str, Any]) -> None:
    """All that was told of it, without the plug-in that could say what it means."""
    assert shown["missing_plugin"] is None
    assert shown["film_plane"]["swing"] == {"value": pytest.approx(30.0), "unit": "deg"}
    assert shown["film_plane"]["waits"][1] == [{"value": 3.0, "unit": "s"}, {"value": 5.0, "unit": "s"}]
    spec = club.api.get(club.at + "cameras/S1/").json()["spec"]
    assert spec == shown | {"missing_plugin": SAID}


def test_lists_tell_it_of_that_camera_alone(club: Club) -> None:
    def told(path: str) -> list[dict[str, Any]]:
        return club.api.get(club.at + path).json()["results"]  # type: ignore[no-any-return]

    assert {row["code"]: row["spec"]["missing_plugin"] for row in told("cameras/")} == {"S1": SAID, "T1": None}
    assert [row["missing_plugin"] for row in told("cameras/S1/specs/")] == [SAID, SAID]
    assert [row["missing_plugin"] for row in told("designs/")] == [SAID]


def test_everything_is_read_but_what_takes_its_curve(club: Club) -> None:
    for path in (
        "", "cameras/T1/", "cameras/S1/specs/1/", f"designs/{club.design}/", "exposures/", "field-kit/",
        "export/?what=cameras", "export/archive/", f"workshops/{club.workshop}/",
        f"workshops/{club.workshop}/places/", "trail/",
    ):  # fmt: skip
        response = club.api.get(club.at + path)
        assert response.status_code == 200, (path, response.content[:300])
    for path in ("cameras/S1/specs/1/difference/?to=2", f"workshops/{club.workshop}/preparation/"):
        assert problem_of(club.api.get(club.at + path), 502)["detail"] == SAID
    body = {"kind": "camera_spec", "wall_thickness": "2 mm"}
    assert problem_of(club.api.post(club.at + "cameras/S1/sheets/", body), 502)["detail"] == SAID
    assert club.api.post(club.at + "cameras/T1/sheets/", body).status_code == 201


def test_pages_stand_and_the_cameras_own_says_it(club: Club) -> None:
    paths = ("", "cameras/", "cameras/T1/", "cameras/S1/", "designs/", f"designs/{club.design}/", "log/", "comparison/",
             "workshops/", f"workshops/{club.workshop}/")  # fmt: skip
    pages = {path: club.browser.get(club.pages + path) for path in paths}
    pages["place"] = club.browser.get(f"/place/{club.code}/")
    assert {path: page.status_code for path, page in pages.items() if page.status_code != 200} == {}
    telling = {path for path, page in pages.items() if "it came with saltmarsh_swing" in page.content.decode()}
    assert telling == {"cameras/S1/", f"designs/{club.design}/", f"workshops/{club.workshop}/"}


def test_it_can_be_made_what_it_is_now(club: Club) -> None:
    """A new spec by a film plane that is there; the old one stays as it was."""
    gone = {"film_plane": SWUNG, "hole": {"diameter": "0.3 mm"}}
    now = gone | {"film_plane": {"kind": "flat", "width": "90 mm", "height": "8 cm", "distance": "70 mm"}}
    at = club.at + "cameras/S1/specs/"
    refused = club.api.post(at, gone, HTTP_IF_MATCH=etag(club.api, club.at))
    assert faults_in(refused) == {("/film_plane/kind", "invalid_choice")}
    assert club.api.post(at, now, HTTP_IF_MATCH=etag(club.api, club.at)).status_code == 201
    assert club.api.get(club.at + "cameras/S1/").json()["spec"]["missing_plugin"] is None


def test_a_drawing_comes_back_with_the_plugin(club: Club) -> None:
    assert "How the film lies in it." not in club.browser.get(club.pages + "cameras/S1/").content.decode()
    with registry.trying(load_all([*find(), OFFER])):
        text = club.browser.get(club.pages + "cameras/S1/").content.decode()
    assert "How the film lies in it." in text
    assert "it came with" not in text
