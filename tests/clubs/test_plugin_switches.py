"""Plug-ins of other packages in a club: off until its keeper switches them on, and what is stored stays."""

from collections.abc import Callable
from io import BytesIO
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from rest_framework.test import APIClient

from exposures.imports.fields import fields_of
from optics.core import profiles
from pinpool.plugins import registry
from pinpool.plugins.loading import Entry
from pinpool.plugins.model import Contribution, Parameter, Plugin
from tests.bodies import CLUB
from tests.clubs.test_api import Here
from tests.factories import MembershipFactory, PaperFactory
from tests.problems import faults_in

SHELF = {"kind": "annex_shelf", "width": "80 mm", "distance": "60 mm", "height": "60 mm"}
CAMERA = CLUB["cameras/"]
LAMP = {"lamps": 4}


def _light(*, lamps: float) -> float:
    return lamps


def _section(*, camera: Any, actor: Any) -> dict[str, Any]:
    return {"title": "A label", "blocks": [{"kind": "text", "text": f"Belongs to {camera.code}"}]}


def annex() -> Plugin:
    """An invented plug-in of another package."""
    sizes = tuple(Parameter(name, "length", "inside") for name in ("width", "distance"))
    lamps = Parameter("lamps", "number", "lamps lit", minimum=0.0)
    return Plugin(
        "annex",
        "0.3",
        (1, 0),
        film_planes=(Contribution("annex_shelf", "film on a shelf", "invented", profiles.flat, sizes),),
        light_readings=(Contribution("annex_lamps", "lamps lit", "invented", _light, (lamps,)),),
        sheet_sections=(Contribution("annex_label", "a label", "invented", _section),),
    )


@pytest.fixture
def here(as_user: Any) -> Here:
    return Here(as_user)


@pytest.fixture(autouse=True)
def remove(monkeypatch: pytest.MonkeyPatch) -> Callable[[], None]:
    """The annex is installed; `remove()` uninstalls it."""
    own = registry.loaded()
    annexed = (*own, Entry("annex", "annex-package", "0.3", "active", "Loaded.", annex()))
    monkeypatch.setattr(registry, "loaded", lambda: annexed)
    return lambda: monkeypatch.setattr(registry, "loaded", lambda: own)


def switch(here: Here, plugins: Any) -> Any:
    return here.clients["keeper"].patch(here.at, {"plugins": plugins}, headers={"If-Match": "*"})


def shelved(film_plane: dict[str, Any]) -> dict[str, Any]:
    return CAMERA | {"code": "SH", "spec": {**CAMERA["spec"], "film_plane": film_plane}}


def test_a_keeper_switches_it_on_and_off(here: Here) -> None:
    assert here.get("")["plugins"] == []
    assert here.clients["leader"].patch(here.at, {"plugins": ["annex"]}, headers={"If-Match": "*"}).status_code == 403
    on = switch(here, ["annex", "annex"])
    assert (on.json()["plugins"], on["ETag"]) == (["annex"], '"r2"')
    assert switch(here, ["annex"])["ETag"] == '"r2"', "nothing changed"
    assert here.get("")["name"] == here.club.name
    assert switch(here, []).json()["plugins"] == []
    told = here.club.trail.filter(action="change_club").order_by("pk").values_list("before", "after")
    assert list(told) == [({"plugins": []}, {"plugins": ["annex"]}), ({"plugins": ["annex"]}, {"plugins": []})]


def test_only_what_is_here_can_be_switched_on(here: Here, remove: Callable[[], None]) -> None:
    for plugins, status, fault in (
        (["annex", "cellar"], 422, ("/plugins/1", "unknown_plugin")),
        (["optics"], 422, ("/plugins/0", "unknown_plugin")),
        ("annex", 400, ("/plugins", "not_a_list")),
    ):
        assert faults_in(switch(here, plugins), status) == {fault}
    switch(here, ["annex"])
    remove()
    assert switch(here, ["annex"]).status_code == 200, "what was switched on may stay so while it is away"
    assert switch(here, []).status_code == 200
    assert faults_in(switch(here, ["annex"]), 422) == {("/plugins/0", "unknown_plugin")}


def test_a_film_plane_can_be_chosen_once_it_is_on(here: Here) -> None:
    refused = here.clients["member"].post(here.at + "cameras/", shelved(SHELF))
    assert faults_in(refused, 422) == {("/spec/film_plane/kind", "plugin_off")}
    [fault] = refused.json()["errors"]
    assert "plug-in annex" in fault["detail"]
    assert "keeper can switch it on" in fault["detail"]
    assert (
        here.clients["member"].post(here.at + "designs/", CLUB["designs/"] | {"film_plane": SHELF}).status_code == 422
    )
    switch(here, ["annex"])
    made = here.post("cameras/", shelved(SHELF))
    assert made["spec"]["film_plane"]["kind"] == "annex_shelf"


def test_what_was_made_with_it_stays_usable(here: Here, remove: Callable[[], None]) -> None:
    switch(here, ["annex"])
    here.post("cameras/", shelved(SHELF))
    switch(here, [])
    client, spec = here.clients["member"], {**CAMERA["spec"], "film_plane": SHELF, "reason": "a new hole"}
    assert here.post("cameras/SH/specs/", spec)["film_plane"]["kind"] == "annex_shelf"
    assert here.post("cameras/SH/sheets/", {"kind": "camera_spec", "wall_thickness": "2 mm"})["subject"] == "camera SH"
    refused = client.post(here.at + "cameras/T1/specs/", spec)
    assert faults_in(refused, 422) == {("/film_plane/kind", "plugin_off")}, "T1 never lay so"
    remove()
    assert {each["code"] for each in here.get("cameras/")["results"]} >= {"SH", "T1"}


def test_a_reading_of_a_club(here: Here) -> None:
    paper = PaperFactory.create(club=here.club)
    entry = {"camera": "T1", "paper": str(paper.id), "taken_at": "2026-05-01T12:00:00Z", "exposure_time": "4 min"}
    refused = here.clients["member"].post(here.at + "exposures/", entry | {"reading": LAMP})
    assert faults_in(refused, 422) == {("/reading", "plugin_off")}
    switch(here, ["annex"])
    wrong = here.post("exposures/", entry | {"reading": LAMP})
    assert wrong["ev100"] == 4
    switch(here, [])
    again = entry | {"reading": {"lamps": 5}, "reason": "counted again"}
    assert here.post(f"exposures/{wrong['id']}/corrections/", again)["ev100"] == 5


def test_a_reading_at_a_place_of_a_workshop(here: Here, api: APIClient) -> None:
    note = {"taken_at": "2026-05-01T12:00:00Z", "exposure_time": "4 min", "reading": LAMP}
    at = f"/api/v1/places/{here.place.code}/exposures/"
    assert faults_in(api.post(at, note), 422) == {("/reading", "plugin_off")}
    switch(here, ["annex"])
    assert api.post(at, note).status_code == 201


def test_the_columns_of_a_sheet(here: Here) -> None:
    """A column of lamps is a reading where the annex is on, and nothing elsewhere."""
    fields_of.cache_clear()
    rows = b"camera,paper,taken_at,exposure_time,lamps\nT1,Glasswort,2026-05-01T12:00Z,4 min,4"
    for plugins, field in ([], None), (["annex"], "reading.lamps"):
        switch(here, plugins)
        form = {"file": SimpleUploadedFile("log.csv", rows), "kind": "exposures"}
        batch = here.clients["member"].post(here.at + "imports/", form, format="multipart").json()
        assert batch["columns"][-1]["field"] == field
        assert ("reading.lamps" in batch["known_fields"]) == bool(plugins)
    fields_of.cache_clear()


def test_a_section_of_a_sheet(here: Here) -> None:
    body = {"kind": "camera_spec", "wall_thickness": "2 mm", "sections": [{"section": "annex_label"}]}
    refused = here.clients["member"].post(here.at + "cameras/T1/sheets/", body)
    assert faults_in(refused, 422) == {("/sections/0/section", "plugin_off")}
    switch(here, ["annex"])
    assert here.post("cameras/T1/sheets/", body)["data"]["sections"][-1]["title"] == "A label"


def test_outside_of_clubs_everything_counts(api: APIClient) -> None:
    asked = {"film_plane": SHELF, "hole": {"diameter": "0.3 mm"}, "columns": 5, "rows": 3}
    flat = asked | {"film_plane": {**SHELF, "kind": "flat"}}
    answers = [api.post("/api/v1/optics/illumination/", body).json() for body in (asked, flat)]
    assert answers[0]["darkest_stops"] == answers[1]["darkest_stops"] < 0
    assert "annex_shelf" in api.get("/bench/").content.decode()


def test_the_pages_offer_what_is_on(here: Here, api: APIClient) -> None:
    pages = {"clubs/creek/cameras/": "annex_shelf", "clubs/creek/cameras/T1/": "annex_label"}
    api.force_login(here.members["keeper"].user)

    def page(address: str) -> str:
        return api.get("/" + address.replace("creek", here.club.slug)).content.decode()

    assert [offer in page(address) for address, offer in pages.items()] == [False, False]
    start = page("clubs/creek/")
    assert "Switch annex on" in start
    assert "annex-package" in start
    assert "Film on a shelf" in start
    switch(here, ["annex"])
    assert [offer in page(address) for address, offer in pages.items()] == [True, True]
    assert "Switch annex off" in page("clubs/creek/")
    api.force_login(here.members["leader"].user)
    assert "Switch annex" not in page("clubs/creek/")


def test_an_archive_keeps_what_is_on(as_user: Any) -> None:
    keeper = MembershipFactory.create(role="keeper", club__plugins=["annex", "away"])
    client, at = as_user(keeper.user), f"/api/v1/clubs/{keeper.club.slug}/"
    assert client.post(at + "cameras/", shelved(SHELF)).status_code == 201
    file = BytesIO(client.get(at + "export/archive/").content)
    file.name = "club.json"
    made = client.post("/api/v1/clubs/import-archive/", {"file": file, "slug": "other"}, format="multipart")
    assert (made.status_code, made.json()["plugins"]) == (201, ["annex", "away"])
