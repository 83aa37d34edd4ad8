"""The example packages where they are installed: they appear by themselves wherever what they bring can be chosen.

Run by test_plugin_packages.py, in a process that has them. The last test writes what it made for those that run
without them. The Saltmarsh club and all its things are invented.
"""

import os
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from django.contrib.auth import get_user_model
from django.core import serializers
from django.test import Client

from clubs.models import Camera, CameraSpec, Club, IssuedSheet, Membership
from clubs.sheets import press
from exposures.models import ExposureLog, ImportBatch, Paper
from tests.clubs.sheets.printed import text_of
from tests.factories import CameraSpecFactory, MembershipFactory
from tests.plugins.notebook.tests.test_notebook import PAGE
from tests.plugins.tilted.tests.test_tilted import light
from tests.problems import faults_in

TILTED = {"kind": "tilted", "width": "80 mm", "distance": "60 mm", "turn": "30 deg", "height": "50 mm"}
CATENARY = {"law": "catenary", "best_time": "1 s", "steepness": 0.2}
NAMES = ["saltmarsh_notebook", "saltmarsh_tilted"]


@pytest.fixture
def keeper(db: None) -> Membership:
    return MembershipFactory.create(role="keeper", club__slug="saltmarsh", club__name="Saltmarsh (invented)")


def switch_on(client: Any, at: str) -> None:
    done = client.patch(at, {"plugins": NAMES}, headers={"If-Match": "*"})
    assert done.json()["plugins"] == NAMES, done.content


def test_they_are_listed(api: Any) -> None:
    listed = {each["name"]: each for each in api.get("/api/v1/plugins/").json()["results"]}
    tilted, notebook = listed["saltmarsh_tilted"], listed["saltmarsh_notebook"]
    assert (tilted["state"], tilted["package"], tilted["version"]) == ("active", "saltmarsh-tilted", "1.0")
    assert tilted["contributes"] == {
        "film_planes": ["tilted"], "reciprocity_laws": ["catenary"], "sheet_sections": ["stretch"],
    }  # fmt: skip
    assert (notebook["state"], notebook["contributes"]) == ("active", {"log_importers": ["saltmarsh_notebook"]})


def test_they_are_in_the_schema(api: Any) -> None:
    parts = yaml.safe_load(api.get("/api/v1/schema/").content)["components"]["schemas"]
    turn = parts["TiltedPlaneRequest"]["properties"]["turn"]
    assert "right edge goes back" in turn["description"]
    assert parts["CatenaryLawRequest"]["properties"].keys() == {"law", "best_time", "steepness"}
    [importer] = [part["properties"]["importer"] for part in parts.values() if "importer" in part.get("properties", {})]
    assert importer["enum"] == ["saltmarsh_notebook"]


def test_the_bench_offers_the_film_plane(api: Any) -> None:
    page = api.get("/bench/").content.decode()
    assert '<option value="tilted">Flat sheet standing askew</option>' in page
    assert 'name="film_plane/turn"' in page


def test_its_light_is_the_closed_form(api: Any) -> None:
    asked = {"film_plane": TILTED, "hole": {"diameter": "0.3 mm"}, "columns": 9, "rows": 5}
    found = api.post("/api/v1/optics/illumination/", asked).json()
    form = {"turn_rad": np.deg2rad(30), "distance_mm": 60.0}
    axis = light(s_mm=0, y_mm=0, **form)
    expected = [[light(s_mm=s, y_mm=y, **form) / axis for s in found["x"]] for y in found["y"]]
    assert 2 ** np.array(found["stops"]) == pytest.approx(np.array(expected), rel=1e-6)


def test_the_stateless_law(api: Any) -> None:
    body = {"reading": {"ev": 10}, "f_number": 226, "exposure_index": 6, "reciprocity": CATENARY}
    found = api.post("/api/v1/optics/exposure/", body).json()
    indicated = found["indicated_time"]["value"]
    assert found["exposure_time"]["value"] == pytest.approx(indicated * np.cosh(0.2 * np.log(indicated)), rel=1e-9)


def test_a_club_uses_them(keeper: Membership, as_user: Any) -> None:
    at, client = "/api/v1/clubs/saltmarsh/", as_user(keeper.user)
    camera = {"code": "TILT", "name": "Biscuit tin askew", "club_owned": True,
              "spec": {"film_plane": TILTED, "hole": {"diameter": "0.3 mm"}}}  # fmt: skip
    film = {"name": "Eelgrass Ortho", "family": "ortho film", "nominal_exposure_index": 25,
            "published": {"reciprocity": CATENARY, "source": "Eelgrass sheet (invented), p. 2"}}  # fmt: skip
    assert faults_in(client.post(at + "cameras/", camera), 422) == {("/spec/film_plane/kind", "plugin_off")}
    assert faults_in(client.post(at + "papers/", film), 422) == {("/published/reciprocity/law", "plugin_off")}
    switch_on(client, at)
    assert client.post(at + "cameras/", camera).status_code == 201
    paper = client.post(at + "papers/", film).json()

    found = client.post(at + "recommendation/", {"camera": "TILT", "paper": paper["id"], "reading": {"ev": 10}}).json()
    indicated = found["indicated_time"]["value"]
    catenary = indicated * np.cosh(0.2 * np.log(indicated))
    assert found["exposure_time"]["value"] == pytest.approx(catenary, rel=1e-3)
    kit = next(each["rows"] for each in client.get(at + "field-kit/").json()["times"] if each["paper"] == paper["id"])
    x, y, *_ = np.log2(kit).T
    assert np.interp(np.log2(indicated), x, y) == pytest.approx(np.log2(catenary), abs=0.02)

    pages = Client()
    pages.force_login(keeper.user)
    drawn = pages.get(f"/clubs/saltmarsh/papers/{paper['id']}/").content.decode()
    assert 'polyline class="published"' in drawn
    assert '<option value="catenary">a law: Catenary</option>' in drawn
    assert "Catenary: best time 1 s, steepness 0.2" in drawn
    assert '<option value="stretch">' in pages.get("/clubs/saltmarsh/cameras/TILT/").content.decode()
    assert '<option value="saltmarsh_notebook">' in pages.get("/clubs/saltmarsh/imports/").content.decode()

    asked = {"kind": "camera_spec", "wall_thickness": "2 mm", "sections": [{"section": "stretch"}]}
    sheet = client.post(at + "cameras/TILT/sheets/", asked).json()
    middle = sheet["data"]["sections"][-1]["blocks"][0]["rows"][2]
    assert middle == ["middle", f"{1 / np.cos(np.deg2rad(30)):.2f}"]
    assert "How far TILT draws pictures out" in text_of(press.pdf(sheet["data"]))
    write(keeper)


def test_a_notebook_is_brought_in(keeper: Membership, as_user: Any) -> None:
    at, client = "/api/v1/clubs/saltmarsh/", as_user(keeper.user)
    switch_on(client, at)
    for code in ("T1", "T2"):
        CameraSpecFactory.create(camera__club=keeper.club, camera__code=code)
    paper = {"name": "Glasswort", "family": "graded paper", "nominal_exposure_index": 6}
    assert client.post(at + "papers/", paper).status_code == 201
    file = BytesIO(PAGE.encode())
    file.name = "may.notebook"
    form = {"file": file, "kind": "exposures", "importer": "saltmarsh_notebook"}
    tried = client.post(at + "imports/", form, format="multipart")
    batch = tried.json()
    assert (batch["rows"]["good"], batch["rows"]["faulty"], batch["questions"]) == (3, 1, []), batch
    rows = client.get(f"{at}imports/{batch['id']}/rows/?state=faulty").json()["results"]
    assert [(row["row"], row["faults"][0]["field"]) for row in rows] == [(5, "paper")], "nobody knows Cordgrass here"
    headers = {"If-Match": tried["ETag"]}
    done = client.post(f"{at}imports/{batch['id']}/apply/", {"rows": "good"}, headers=headers).json()
    assert done["rows"]["imported"] == 3
    assert sorted(ExposureLog.objects.values_list("exposure_time_s", flat=True)) == [150, 240, 480]


def write(keeper: Membership) -> None:
    """Leave the club's rows to the tests that run without the packages."""
    rows: list[Any] = [*get_user_model().objects.all()]
    for model in (Club, Membership, Camera, CameraSpec, Paper, ImportBatch, ExposureLog, IssuedSheet):
        rows += model.objects.all()
    Path(os.environ["LEFT_ROWS"]).write_text(serializers.serialize("json", rows))
