"""Sheets and designs over HTTP: issued, listed, compared, printed, and never shown to whoever may not see them."""

import io
from typing import Any
from xml.etree.ElementTree import fromstring

import pytest
from pypdf import PdfReader

from clubs.models import Club, Design, IssuedSheet, TrailEntry
from clubs.sheets import press
from clubs.sheets.documents import digest
from clubs.sheets.issuing import issue
from optics.core.faults import Impossible
from pinpool.http.problems import Unavailable
from pinpool.plugins import registry
from pinpool.plugins.loading import Entry
from pinpool.plugins.model import Contribution, Parameter, Plugin
from tests.bodies import CLUB, FILM_PLANES, HOLE
from tests.clubs.sheets.printed import drawing, of_blocks, text_of
from tests.clubs.test_api import Here
from tests.factories import CameraFactory, CameraSpecFactory, DesignFactory
from tests.problems import faults_in, problem_of

SPEC = {"kind": "camera_spec", "wall_thickness": "2 mm"}
DESIGN = CLUB["designs/"]


@pytest.fixture
def here(as_user: Any) -> Here:
    return Here(as_user)


# ------------------------------------------------------------------------------------------------------- sheets


def test_a_cameras_sheet(here: Here) -> None:
    sheet = here.post("cameras/T1/sheets/", SPEC | {"page": "letter", "sheet": "8x10 in"})
    assert sheet.keys() == {
        "id", "number", "kind", "subject", "digest", "issued_by", "issued_at", "pdf", "data", "changes",
    }  # fmt: skip
    assert (sheet["number"], sheet["kind"], sheet["subject"]) == (2, "camera_spec", "camera T1")
    assert sheet["issued_by"] == here.members["member"].user.get_username()
    assert sheet["digest"] == digest(sheet["data"])
    assert sheet["changes"] == {
        "since": None, "changes": [], "text": ["This is the first sheet of its kind for this subject."],
    }  # fmt: skip
    assert [section["title"] for section in sheet["data"]["sections"]] == [
        "What it is", "How the film lies", "Light on the film", "The opening in the wall", "Negatives from a sheet",
    ]  # fmt: skip
    assert here.get(f"sheets/{sheet['id']}/") == sheet
    assert TrailEntry.objects.filter(action="issue_sheet", subject="camera T1").count() == 2


def test_its_pdf(here: Here) -> None:
    sheet = here.post("cameras/T1/sheets/", SPEC)
    for client in (here.clients["guest"], here.clients["keeper"]):
        response = client.get(sheet["pdf"])
        assert response.status_code == 200
        assert response["Content-Type"] == "application/pdf"
        assert response["Content-Disposition"] == 'inline; filename="sheet-2.pdf"'
        assert response["X-Content-Type-Options"] == "nosniff"
        assert response["Cache-Control"] == "private, no-cache"
        assert response["ETag"] == f'"{sheet["digest"]}"'
        text = text_of(response.content)
        for said in ("T1, Tea caddy", "0.350 mm ± 0.01 mm", "f/258", "spec 1", sheet["digest"][:12], "camera T1"):
            assert said in text.replace("\r\n", " "), said
    known = here.clients["guest"].get(sheet["pdf"], headers={"If-None-Match": response["ETag"]})
    assert (known.status_code, known.content) == (304, b"")


def test_its_pages(here: Here) -> None:
    sheet = here.post("cameras/T1/sheets/", SPEC)
    pdf = here.clients["guest"].get(sheet["pdf"]).content
    count = len(PdfReader(io.BytesIO(pdf)).pages)
    at = f"{here.at}sheets/{sheet['id']}/pages/"
    for number in range(1, count + 1):
        response = here.clients["guest"].get(f"{at}{number}/")
        assert response["Content-Type"] == "image/svg+xml"
        assert response["Content-Security-Policy"] == "default-src 'none'; img-src data:; sandbox"
        assert response["X-Content-Type-Options"] == "nosniff"
        root = fromstring(response.content)  # noqa: S314  (ours)
        assert root[0].text == f"Camera specification, page {number} of {count}"
        assert not [name for element in root.iter() for name in element.attrib if name == "style"]
    for number in (0, count + 1, 99999):
        problem_of(here.clients["guest"].get(f"{at}{number}/"), 404)


def test_lists_of_sheets(here: Here) -> None:
    CameraSpecFactory.create(camera__club=here.club, camera__code="T2")
    first, second = (here.post(f"cameras/{code}/sheets/", SPEC) for code in ("T1", "T2"))
    listed = here.get("sheets/")["results"]
    assert [sheet["number"] for sheet in listed] == [3, 2, 1]
    assert listed[0] == {name: value for name, value in second.items() if name not in {"data", "changes"}}
    assert [sheet["number"] for sheet in here.get("sheets/?subject=camera T2")["results"]] == [3]
    assert [sheet["number"] for sheet in here.get("sheets/?kind=camera_spec")["results"]] == [3, 2]
    assert [sheet["number"] for sheet in here.get("cameras/T1/sheets/")["results"]] == [2, 1]
    assert [sheet["id"] for sheet in here.get("cameras/T1/sheets/?kind=camera_spec")["results"]] == [first["id"]]
    page = here.get("sheets/?page_size=2")
    assert [sheet["number"] for sheet in here.clients["guest"].get(page["next"]).json()["results"]] == [1]
    problem_of(here.clients["guest"].get(here.at + "sheets/?topic=T1"), 400)


def test_a_later_sheet_says_what_changed(here: Here) -> None:
    here.post("cameras/T1/sheets/", SPEC)
    spec = {"film_plane": FILM_PLANES["drum"], "hole": HOLE, "reason": "measured again"}
    here.post("cameras/T1/specs/", spec, "keeper")
    later = here.post("cameras/T1/sheets/", SPEC)
    assert later["changes"]["since"] == 2
    assert "What it is, Revision: spec 1, of " in " ".join(later["changes"]["text"])
    assert any("Hole: 0.350 mm ± 0.01 mm" in text and "→ 0.300 mm" in text for text in later["changes"]["text"])
    found = {change["pointer"]: change for change in later["changes"]["changes"]}
    assert found["/sections/0/blocks/0/rows/3/1"]["new"].startswith("0.300 mm")
    assert later["data"]["changes"] == {"since": 2, "text": later["changes"]["text"]}
    text = text_of(here.clients["guest"].get(later["pdf"]).content)
    assert "Changed since sheet 2" in text


def test_nobody_finds_what_they_may_not_read(here: Here) -> None:
    leaders = issue(actor=here.members["leader"], document=of_blocks({"kind": "fold"}), action="read_places")
    for path in ("", "pdf/", "pages/1/"):
        at = f"{here.at}sheets/{leaders.id}/{path}"
        assert here.clients["leader"].get(at).status_code == 200
        problem_of(here.clients["member"].get(at), 404)
    assert [sheet["number"] for sheet in here.get("sheets/", "member")["results"]] == [1]
    assert [sheet["number"] for sheet in here.get("sheets/", "leader")["results"]] == [2, 1]


def test_a_wall_must_be_known(here: Here) -> None:
    response = here.clients["member"].post(here.at + "cameras/T1/sheets/", {"kind": "camera_spec"})
    assert faults_in(response) == {("/wall_thickness", "required")}
    here.spec.camera.design = here.design
    here.spec.camera.save()
    told = here.post("cameras/T1/sheets/", {"kind": "camera_spec"})
    assert "0.3 mm thick, the plate behind it" in str(told["data"])


@pytest.mark.parametrize(
    ("body", "fault"),
    [
        ({"wall_thickness": "2 mm"}, ("/kind", "required")),
        (SPEC | {"kind": "poster"}, ("/kind", "invalid_choice")),
        (SPEC | {"page": "a5"}, ("/page", "invalid_choice")),
        (SPEC | {"made_at": "2020-01-01T00:00:00Z"}, ("/made_at", "unknown_key")),
        (SPEC | {"wall_thickness": "2"}, ("/wall_thickness", "unit_missing")),
        (SPEC | {"sections": [{"section": "poem"}]}, ("/sections/0/section", "invalid_choice")),
        (SPEC | {"sections": [{}]}, ("/sections/0/section", "required")),
        (SPEC | {"sections": "exposure_card"}, ("/sections", "not_a_list")),
        (SPEC | {"sections": [5]}, ("/sections/0", "wrong_type")),
        (SPEC | {"sheet": "9x9 furlongs"}, ("/sheet", "unknown_sheet")),
    ],
)
def test_bodies_with_faults(here: Here, body: Any, fault: tuple[str, str]) -> None:
    response = here.clients["member"].post(here.at + "cameras/T1/sheets/", body)
    assert fault[0] in {at for at, _ in faults_in(response)}
    assert IssuedSheet.objects.count() == 1


def test_a_press_that_stopped_is_a_503(here: Here, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(_document: Any) -> bytes:
        raise Unavailable("The typesetter stopped in the middle of this sheet. Ask again.")

    monkeypatch.setattr(press, "pdf", stopped)
    response = here.clients["guest"].get(f"{here.at}sheets/{here.printed.id}/pdf/")
    assert problem_of(response, 503)["title"] == "This cannot be answered just now"
    assert response["Retry-After"] == "5"
    monkeypatch.undo()
    assert here.clients["guest"].get(f"{here.at}sheets/{here.printed.id}/pdf/").status_code == 200


@pytest.mark.parametrize("kind", FILM_PLANES)
@pytest.mark.parametrize("page", ["a4", "letter"])
def test_every_film_plane_has_its_sheet(here: Here, kind: str, page: str) -> None:
    spec = {"film_plane": FILM_PLANES[kind], "hole": HOLE}
    here.post("cameras/", {"code": "K1", "name": "Biscuit drum", "spec": spec})
    sheet = here.post("cameras/K1/sheets/", SPEC | {"page": page, "sheet": {"width": "40 mm", "height": "50 mm"}})
    assert press.pdf(sheet["data"]).startswith(b"%PDF")


@pytest.mark.parametrize("change", [{"wall_thickness": "900 mm"}, {"wall_thickness": "0.01 mm"}, {"sheet": "20x24 in"}])
def test_odd_cameras_have_sheets_too(here: Here, change: dict[str, Any]) -> None:
    huge = {"kind": "flat", "width": "3 m", "height": "2.5 m", "distance": "4 m"}
    tiny = {"kind": "flat", "width": "3 mm", "height": "2 mm", "distance": "4 mm"}
    for code, plane, hole in (("H1", huge, "2 mm"), ("H2", tiny, "0.08 mm")):
        here.post("cameras/", {"code": code, "name": "Shed", "spec": {"film_plane": plane, "hole": {"diameter": hole}}})
        response = here.clients["member"].post(f"{here.at}cameras/{code}/sheets/", SPEC | change)
        assert response.status_code in {201, 422}, response.content
        if response.status_code == 201:
            assert press.pdf(response.json()["data"]).startswith(b"%PDF")


def test_a_film_that_reaches_the_holes_wall_says_what_no_opening_clears(here: Here) -> None:
    plane = {"kind": "bowed", "width": "100 mm", "depth": "30 mm", "length": "126 mm", "height": "80 mm"}
    here.post(
        "cameras/", {"code": "E1", "name": "Caddy", "spec": {"film_plane": plane, "hole": {"diameter": "0.3 mm"}}}
    )
    sheet = here.post("cameras/E1/sheets/", SPEC)
    text = " ".join(text_of(press.pdf(sheet["data"])).split())
    assert "the middle 95% of the film; no opening clears its very ends" in text
    assert "some of it gets no light" in text
    assert "how well is not known" in text


# ----------------------------------------------------------------------------------------------------- plug-ins

NOT_A_SECTION = {"title": "X", "blocks": [drawing("<script/>", 40, 10)]}


def section(camera: Any, actor: Any, width_mm: float, words: str = "") -> dict[str, Any]:
    """A section of a package of somebody's."""
    if width_mm > 100:
        raise Impossible("too_wide", "Nobody has such a shelf.", "width")
    row = [camera.code, f"{camera.f_number:.0f} {actor.get_username()} {width_mm:g} {words}"]
    return {"title": "A shelf", "blocks": [{"kind": "facts", "rows": [row]}]}


@pytest.fixture
def shelf(here: Here, monkeypatch: pytest.MonkeyPatch) -> Any:
    """A plug-in that contributes `shelf`, switched on in the club; the function can be exchanged."""
    functions = {"shelf": section}
    parameters = (
        Parameter("width", "length", "of the shelf", minimum=1.0),
        Parameter("words", "text", "on it", required=False, default="none"),
    )

    def made(**values: Any) -> Any:
        return functions["shelf"](**values)

    contribution = Contribution("shelf", "a shelf", "invented", made, parameters)
    plugin = Plugin("carpentry", "1", (1, 0), sheet_sections=(contribution,))
    entries = (*registry.loaded(), Entry("carpentry", "carpentry", "1", "active", "Loaded.", plugin))
    monkeypatch.setattr(registry, "loaded", lambda: entries)
    Club.objects.update(plugins=["carpentry"])
    return functions


def test_a_contributed_section_comes_after_the_sheets_own(here: Here, shelf: Any) -> None:
    asked = [{"section": "shelf", "width": "4 cm"}, {"section": "shelf", "width": "1 cm", "words": "*jam*"}]
    sheet = here.post("cameras/T1/sheets/", SPEC | {"sections": asked})
    username = here.members["member"].user.get_username()
    assert [section["blocks"][0]["rows"][0] for section in sheet["data"]["sections"][-2:]] == [
        ["T1", f"258 {username} 40 none"], ["T1", f"258 {username} 10 *jam*"],
    ]  # fmt: skip
    assert "*jam*" in text_of(press.pdf(sheet["data"]))


def test_its_parameters_are_checked_with_their_place(here: Here, shelf: Any) -> None:
    for asked, status, fault in (
        ({"width": "0.1 mm"}, 400, ("/sections/0/width", "out_of_range")),
        ({}, 400, ("/sections/0/width", "required")),
        ({"width": "1 cm", "depth": "1 cm"}, 400, ("/sections/0/depth", "unknown_key")),
        ({"width": "2 m"}, 422, ("/sections/0/width", "too_wide")),
    ):
        body = SPEC | {"sections": [{"section": "shelf", **asked}]}
        response = here.clients["member"].post(here.at + "cameras/T1/sheets/", body)
        assert faults_in(response, status) == {fault}


def broken(**_values: Any) -> Any:
    raise RuntimeError("a splinter")


@pytest.mark.parametrize(
    ("function", "told"),
    [
        (broken, "raised RuntimeError"),
        (lambda **_: None, "returned what cannot be set: sections/0: this must be an object"),
        (lambda **_: {"title": "X", "blocks": [{"kind": "script"}]}, "a block has a kind, one of"),
        (lambda **_: NOT_A_SECTION, "a drawing may not hold “{http://www.w3.org/2000/svg}script”"),
        (lambda **_: {"title": "X" * 400, "blocks": []}, "the text has 400 letters; at most 300 are set."),
        (lambda **_: {"title": "X", "blocks": [drawing("", 300, 10)]}, "Cut it into tiles."),
    ],
)
def test_what_a_plug_in_breaks_names_it_and_issues_nothing(here: Here, shelf: Any, function: Any, told: str) -> None:
    shelf["shelf"] = function
    body = SPEC | {"sections": [{"section": "shelf", "width": "4 cm"}]}
    response = here.clients["member"].post(here.at + "cameras/T1/sheets/", body)
    detail = problem_of(response, 502)["detail"]
    assert detail.startswith("Plug-in carpentry: sheet_sections “shelf” ")
    assert told in detail
    assert IssuedSheet.objects.count() == 1
    here.post("cameras/T1/sheets/", SPEC)


# ------------------------------------------------------------------------------------------------------ designs


def test_a_design_is_kept(here: Here) -> None:
    design = here.post("designs/", DESIGN)
    assert design.keys() == {
        "id", "name", "note", "film_plane", "hole", "wall_thickness", "focal_length", "f_number", "typed", "author",
        "created_at", "retired_at", "revision", "missing_plugin",
    }  # fmt: skip
    assert design["typed"] == {name: value for name, value in DESIGN.items() if name not in {"name", "note"}}
    assert design["hole"]["diameter"] == {"value": 0.35, "unit": "mm"}
    assert design["f_number"] == pytest.approx(280)
    assert here.get(f"designs/{design['id']}/") == design
    assert design in here.get("designs/")["results"]
    assert here.get(f"designs/{design['id']}/?lengths=in")["wall_thickness"] == {
        "value": pytest.approx(2 / 25.4), "unit": "in",
    }  # fmt: skip


def test_a_hole_left_out_is_the_rules(here: Here) -> None:
    bare = {name: DESIGN[name] for name in ("name", "film_plane", "wall_thickness")}
    design = here.post("designs/", bare)
    asked = {"focal_length": design["focal_length"]}
    answer = here.clients["guest"].post("/api/v1/optics/hole-diameter/", asked).json()
    assert design["hole"]["diameter"]["value"] == pytest.approx(answer["chosen"]["diameter"]["value"])


def test_only_what_a_design_is_called_changes(here: Here) -> None:
    design = here.post("designs/", DESIGN)
    at, client = f"{here.at}designs/{design['id']}/", here.clients["member"]
    problem_of(client.patch(at, {"name": "Drum"}), 428)
    problem_of(client.patch(at, {"name": "Drum"}, headers={"If-Match": '"r9"'}), 412)
    changed = client.patch(at, {"name": "Drum", "retired": True}, headers={"If-Match": '"r1"'}).json()
    assert (changed["name"], changed["revision"], bool(changed["retired_at"])) == ("Drum", 2, True)
    same = client.patch(at, {"retired": True}, headers={"If-Match": "*"}).json()
    assert same == changed
    for body in ({"film_plane": FILM_PLANES["flat"]}, {"wall_thickness": "1 mm"}, {"hole": HOLE}):
        assert "unknown_key" in {code for _, code in faults_in(client.patch(at, body, headers={"If-Match": "*"}))}
    assert [each["id"] for each in here.get("designs/?retired=true")["results"]] == [design["id"]]
    assert design["id"] not in [each["id"] for each in here.get("designs/?retired=false")["results"]]
    entry = TrailEntry.objects.get(action="change_design")
    assert (entry.before, entry.after) == (
        {"name": DESIGN["name"], "retired": False},
        {"name": "Drum", "retired": True},
    )


def test_anothers_design_takes_a_leader(here: Here) -> None:
    at, body = f"{here.at}designs/{here.design.pk}/", {"name": "Drum"}
    refused = here.clients["member"].patch(at, body, headers={"If-Match": "*"})
    assert problem_of(refused, 403)["detail"] == "This design is somebody else's; to change it takes a leader."
    assert here.clients["leader"].patch(at, body, headers={"If-Match": "*"}).status_code == 200
    elsewhere = DesignFactory.create()
    problem_of(here.clients["keeper"].get(f"{here.at}designs/{elsewhere.pk}/"), 404)


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"wall_thickness": None}, "/wall_thickness"),
        ({"hole": {"diameter": "90 mm"}}, "/hole/diameter"),
        ({"hole": {"diameter": "0.3 mm", "uncertainty": "0.01 mm"}}, "/hole/uncertainty"),
        ({"focal_length": "0.1 mm"}, "/hole"),
        ({"film_plane": {"kind": "flat"}}, "/film_plane/width"),
        ({"name": ""}, "/name"),
        ({"revision": 5}, "/revision"),
    ],
)
def test_designs_that_cannot_be(here: Here, change: dict[str, Any], pointer: str) -> None:
    response = here.clients["member"].post(here.at + "designs/", DESIGN | change)
    assert response.status_code in {400, 422}
    assert pointer in {fault["pointer"] for fault in response.json()["errors"]}
    assert Design.objects.filter(club=here.club).count() == 1


def test_a_camera_names_the_design_it_was_built_by(here: Here) -> None:
    design = here.post("designs/", DESIGN)
    made = here.post("cameras/", CLUB["cameras/"] | {"design": design["id"]})
    assert made["design"] == here.get("cameras/K7/")["design"] == design["id"]
    assert here.get("cameras/T1/")["design"] is None
    elsewhere = DesignFactory.create()
    body = CLUB["cameras/"] | {"code": "K8", "design": elsewhere.pk}
    response = here.clients["member"].post(here.at + "cameras/", body)
    assert faults_in(response, 422) == {("/design", "unknown_design")}


def test_a_designs_sheet(here: Here) -> None:
    design = here.post("designs/", DESIGN)
    sheet = here.post(f"designs/{design['id']}/sheets/", {"kind": "camera_spec"})
    assert sheet["subject"] == f"design {design['id']}"
    text = " ".join(text_of(press.pdf(sheet["data"])).split())
    assert "as planned; measure what you made" in text
    assert "2 mm thick, the plate behind it" in text
    assert f"/designs/{design['id']}/" in text


def test_a_camera_without_a_spec_has_no_sheet(here: Here) -> None:
    CameraFactory.create(club=here.club, code="BARE")
    response = here.clients["member"].post(here.at + "cameras/BARE/sheets/", SPEC)
    problem_of(response, 409)
