"""Archives that are none, or were written to do harm: nothing false or hostile gets in."""

from collections.abc import Iterator
from errno import ENOSPC
from typing import Any

import orjson
import pytest
from django.core.files.base import ContentFile

from clubs.models import CameraPhoto, Club
from exposures.workshops.models import Place
from tests.exposures.archives import Made, send, signed
from tests.factories import AccountFactory
from tests.problems import faults_in, problem_of


def bend(told: Any, section: str, column: str, value: Any, place: int = 0) -> Any:
    rows = [dict(row) for row in told[section]]
    rows[place] |= {column: value}
    return signed(told | {section: rows})


@pytest.mark.parametrize(
    ("section", "column", "value", "code"),
    [
        ("cameras", "code", "T1" * 20, "max_length"),
        ("cameras", "owner", ["walker"], "invalid"),
        ("specs", "camera", "T9", "unknown_reference"),
        ("specs", "film_plane", {"kind": "flat"}, "invalid"),
        ("specs", "film_plane", {"kind": "nothing", "height_mm": 1}, "invalid"),
        ("specs", "film_plane", "drum", "invalid"),
        ("specs", "f_number", 8.0, "contradiction"),
        ("specs", "f_number", 5e-324, "contradiction"),
        ("specs", "hole_diameter_mm", -0.3, "out_of_range"),
        ("specs", "created_at", "2026-05-01T12:00:00", "no_offset"),
        ("specs", "created_at", "0001-01-01T00:00:00+14:00", "out_of_range"),
        ("papers", "expires_on", "9999-12-31", "out_of_range"),
        ("papers", "nominal_exposure_index", "6", "wrong_type"),
        ("papers", "nominal_exposure_index", -6.0, "out_of_range"),
        ("papers", "sheets_left", 1.5, "wrong_type"),
        ("papers", "published_rows_s", [[1, 2], [3]], "invalid"),
        ("exposures", "paper", "Samphire", "unknown_reference"),
        ("exposures", "ev100", 5.0, "contradiction"),
        ("exposures", "exposure_time_s", 1.0, "contradiction"),
        ("exposures", "indicated_time_s", 1.0, "contradiction"),
        ("exposures", "result_stops", 3.0, "contradiction"),
        ("exposures", "result", {"judged": 3}, "unknown_key"),
        ("exposures", "reading", {"ev": "high"}, "invalid"),
        ("exposures", "typed_time", "soon", "invalid"),
        ("exposures", "process", {"typed": 3}, "invalid"),
        ("exposures", "private", True, "contradiction"),
        ("exposures", "filter_stops", 1e17, "out_of_range"),
        ("photos", "image", "bm90IGEgcGljdHVyZQ==", "image_unreadable"),
        ("photos", "image", "<script>", "invalid"),
        ("photos", "image", "é", "invalid"),
        ("people", "name", "x" * 255, "max_length"),
        ("people", "reference", 1, "invalid"),
        ("designs", "film_plane", {"kind": "nothing"}, "invalid"),
        ("designs", "hole_diameter_mm", 0.0, "out_of_range"),
        ("designs", "wall_thickness_mm", -1.0, "out_of_range"),
        ("designs", "focal_length_mm", 0.1, "f_number_range"),
        ("cameras", "design", "7", "unknown_reference"),
        ("exposures", "person", "7", "unknown_reference"),
        ("workshops", "design", None, "unknown_reference"),
        ("workshops", "stations", 0, "out_of_range"),
        ("workshops", "process", {"typed": 3}, "invalid"),
        ("places", "workshop", "Creek day", "unknown_reference"),
        ("places", "hole_diameter_mm", None, "contradiction"),
        ("places", "hole_diameter_mm", 99.0, "out_of_range"),
        ("place_exposures", "place", "1/9", "unknown_reference"),
        ("places", "typed", "0.34 mm", "wrong_type"),
        ("places", "measurements", {}, "wrong_type"),
        ("place_exposures", "facts", [], "wrong_type"),
        ("place_exposures", "facts", {"ev100": 13}, "archive_keys"),
        ("designs", "typed", [], "wrong_type"),
        ("sheets", "action", "read_places", "contradiction"),
        ("sheets", "digest", "0" * 64, "contradiction"),
        ("sheets", "data", "text", "wrong_type"),
        ("sheets", "data", {"kind": "camera"}, "cannot_be_shown"),
        ("trail", "action", None, "null"),
        ("trail", "actor_name", "x" * 300, "max_length"),
    ],
)
def test_rows_that_are_none(made: Made, section: str, column: str, value: Any, code: str) -> None:
    told = made.archive()
    response = send(made.as_user(), bend(told, section, column, value), slug="brook")
    [(pointer, found)] = faults_in(response)
    assert pointer == f"/{section}/0/{column}"
    assert found == code or {found, code} == {"invalid", "unknown_key"}
    assert not Club.objects.filter(slug="brook").exists()


WRITTEN = [["1 s", "1 s"], ["1 min", "2 min"]]


@pytest.mark.parametrize(
    ("rows", "typed", "fault"),
    [
        ([[1.0, 1.0], [60.0, 120.0]], WRITTEN, None),
        ([[1.0, 1.0], [60.0, 120.0]], {"law": "of a plug-in that is not here"}, None),
        ([[1.0, 1.0]], WRITTEN, ("rows_s", "invalid")),
        ([[1.0, 1.0], [60.0, 0.5]], {"law": "schwarzschild"}, ("rows_s", "table_order")),
        ([[1.0, 1.0], [60.0, 121.0]], WRITTEN, ("rows_s", "contradiction")),
        ([[1.0, 1.0], [60.0, 120.0], [61.0, 130.0]], WRITTEN, ("rows_s", "contradiction")),
        ([[1.0, 1.0], [60.0, 120.0]], {"exponent": 1.3}, ("typed", "wrong_type")),
        ([[1.0, 1.0], [60.0, 120.0]], None, ("typed", "wrong_type")),
    ],
)
def test_a_data_sheet_and_its_times_agree(made: Made, rows: Any, typed: Any, fault: tuple[str, str] | None) -> None:
    told = made.archive(pictures="listed")
    papers = [told["papers"][0] | {"published_rows_s": rows, "published_typed": typed}, *told["papers"][1:]]
    response = send(made.as_user(), signed(told | {"papers": papers}), slug="brook")
    if fault is None:
        assert response.status_code == 201
    else:
        assert faults_in(response) == {(f"/papers/0/published_{fault[0]}", fault[1])}


@pytest.mark.parametrize(("column", "value"), [("number", 9), ("kind", "workshop"), ("subject", "camera T9")])
def test_a_printed_sheet_and_its_row_agree(made: Made, column: str, value: Any) -> None:
    response = send(made.as_user(), bend(made.archive(pictures="listed"), "sheets", column, value), slug="brook")
    assert faults_in(response) == {("/sheets/0/data", "contradiction")}


@pytest.mark.parametrize("changes", [[], {"since": "1", "text": []}, {"since": 1, "text": [1]}, {"since": 1}])
def test_changes_on_a_printed_sheet_that_are_none(made: Made, changes: Any) -> None:
    """They are set as they stand; what a sheet really says of the one before it is taken."""
    told = made.archive(pictures="listed")
    data = told["sheets"][1]["data"]
    assert data["changes"]["since"] == 1
    response = send(made.as_user(), bend(told, "sheets", "data", data | {"changes": changes}, place=1), slug="brook")
    assert faults_in(response) == {("/sheets/1/data", "contradiction")}


@pytest.mark.parametrize(
    "facts",
    [
        {"ev100": 5.0}, {"exposure_time_s": 1.0}, {"filter_stops": 99.0}, {"taken_at": "soon"}, {"note": 3},
        {"result": {"typed": {"judged": 3}}}, {"result": 3}, {"ev100": "13"},
    ],
)  # fmt: skip
def test_what_was_not_noted_at_a_place(made: Made, facts: dict[str, Any]) -> None:
    """It would become a log when the workshop is closed, so it is read as a log is."""
    told = made.archive(pictures="listed")
    noted = told["place_exposures"][0]["facts"] | facts
    response = send(made.as_user(), bend(told, "place_exposures", "facts", noted), slug="brook")
    assert {pointer for pointer, _ in faults_in(response)} == {"/place_exposures/0/facts"}
    assert not Club.objects.filter(slug="brook").exists()


def test_files_that_are_none(made: Made) -> None:
    told, client = made.archive(pictures="listed"), made.as_user()

    def code(sent: Any) -> str:
        [(pointer, found)] = faults_in(send(client, sent, slug="brook"), 422)
        assert pointer == "/file"
        return found

    assert code(b"{") == "bad_json"
    assert code(b"[]") == "not_an_archive"
    assert code(signed(told | {"version": 3})) == "archive_version"
    assert code(told | {"papers": []}) == "archive_checksum"
    assert code(signed(told | {"papers": {}})) == "archive_section"
    deep: Any = 1
    for _ in range(60):
        deep = [deep]
    assert code(signed(told | {"more": deep})) == "too_deep"
    assert code(orjson.dumps(signed(bend(told, "papers", "name", "a\0b")))) == "nul_character"
    for number in (1e18, -1e308, 2**62):
        assert code(bend(told, "trail", "after", {"owner": number})) == "number_too_large"
    assert Club.objects.count() == 1


def test_the_host_site_says_how_large_an_archive_may_be(made: Made, settings: Any) -> None:
    """As the file is read, and before: a form that says it is much larger is not read at all."""
    data, client = orjson.dumps(made.archive(pictures="listed")), made.as_user()
    settings.PINPOOL = {"MAX_ARCHIVE_BYTES": len(data) - 1}
    assert faults_in(send(client, data, slug="brook"), 422) == {("/file", "too_large")}
    settings.PINPOOL = {"MAX_ARCHIVE_BYTES": 10}
    problem_of(send(client, data + b" " * 100_000, slug="brook"), 413)
    settings.PINPOOL = {"MAX_ARCHIVE_BYTES": len(data)}
    assert send(client, data, slug="brook").status_code == 201


def test_nobody_is_made_a_member_or_an_owner_by_an_archive(made: Made) -> None:
    """Names are names: an account that has the same one here gets nothing by it."""
    told = made.archive(pictures="listed")
    assert send(made.as_user(AccountFactory.create(username="newcomer")), told, slug="brook").status_code == 201
    brook = Club.objects.get(slug="brook")
    assert [each.user.username for each in brook.memberships.select_related("user")] == ["newcomer"]
    assert set(brook.cameras.values_list("owner", "lent_to")) == {(None, None)}
    assert set(brook.exposures.values_list("member", flat=True)) == {None}
    assert set(Place.objects.filter(workshop__club=brook).values_list("user", flat=True)) == {None}
    assert set(brook.exposures.values_list("person__name", flat=True)) == {"walker", "Ada"}


def test_merges_in_a_circle(made: Made) -> None:
    told = made.archive(pictures="listed")
    [merge] = told["merges"]
    back = merge | {"key": merge["into_key"], "into_key": merge["key"]}
    response = send(made.as_user(), signed(told | {"merges": [merge, back]}), slug="brook")
    assert {found for _, found in faults_in(response)} == {"same_paper"}


def test_pictures_of_a_refused_archive_are_not_left_behind(made: Made, tmp_path: Any) -> None:
    before = {path for path in tmp_path.rglob("*") if path.is_file()}
    send(made.as_user(), bend(made.archive(), "trail", "action", None), slug="brook")
    assert {path for path in tmp_path.rglob("*") if path.is_file()} == before


def test_of_a_picture_that_the_disk_has_no_room_for_nothing_is_left(
    made: Made, tmp_path: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(file: ContentFile, *_: Any) -> Iterator[bytes]:
        yield file.read(100)
        raise OSError(ENOSPC, "no space left on the device")

    archive, before = made.archive(), {path for path in tmp_path.rglob("*") if path.is_file()}
    monkeypatch.setattr(ContentFile, "chunks", full)
    problem_of(send(made.as_user(), archive, slug="brook"), 507)
    assert {path for path in tmp_path.rglob("*") if path.is_file()} == before


def test_what_a_picture_hides_is_gone(made: Made) -> None:
    """A JPEG with notes and a script behind its end comes out as pixels alone."""
    import base64  # noqa: PLC0415

    told = made.archive()
    dirty = base64.b64decode(told["photos"][0]["image"]) + b"<script>alert(1)</script>"
    sent = bend(told, "photos", "image", base64.b64encode(dirty).decode())
    assert send(made.as_user(), sent, slug="brook").status_code == 201
    photo = CameraPhoto.objects.exclude(camera__club__slug="creek").get()
    with photo.image.open("rb") as file:
        assert b"script" not in file.read()


def test_who_may(made: Made, api: Any) -> None:
    problem_of(made.as_user(made.member.user).get(f"{made.at}export/archive/"), 403)
    problem_of(made.as_user().get(f"{made.at}export/archive/"), 404)
    problem_of(send(api, made.archive(pictures="listed")), 401)
