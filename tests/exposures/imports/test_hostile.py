"""Sheets that are meant to do harm: what is sent stays data, and nobody gets what is not theirs."""

from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile

from exposures.imports.fields import fields_of
from exposures.models import ExposureLog, ImportBatch
from tests.exposures.imports.messy import as_csv
from tests.factories import CameraSpecFactory, MembershipFactory, PaperFactory
from tests.problems import faults_in, problem_of

SHORT = ["Date", "Box", "Paper", "EV", "Time", "Note"]
GOOD = ["2026-05-01T12:00Z", "T1", "Glasswort", "13", "4 min 50", ""]


def test_forms_that_are_none(here: Any) -> None:
    sheet = as_csv(SHORT, [GOOD])
    assert faults_in(here.client.post(here.at, {"kind": "exposures"}, format="multipart")) == {("/file", "required")}
    assert faults_in(here.send(b"")) == {("/file", "empty")}
    assert faults_in(here.send(sheet, kind="members")) == {("/kind", "invalid_choice")}
    assert faults_in(here.send(sheet, encoding="utf-7")) == {("/encoding", "invalid_choice")}
    assert faults_in(here.send(sheet, club="creek", state="imported")) == {
        ("/club", "unknown_key"), ("/state", "unknown_key")
    }  # fmt: skip
    problem_of(here.client.post(here.at, {"kind": "exposures"}), 415)
    assert ImportBatch.objects.count() == 0


def test_too_large(here: Any) -> None:
    assert faults_in(here.send(b"EV,Note\n" + b"13,a\n" * 2_100_000), 422) == {("/file", "too_large")}
    data = SimpleUploadedFile("log.csv", b"a" * 21_000_000)
    problem_of(here.client.post(here.at, {"file": data, "kind": "exposures"}, format="multipart"), 413)


def test_what_a_row_may_say_is_what_the_api_takes(here: Any) -> None:
    """No column reaches the club, an owner, a revision or what is reckoned."""
    known = fields_of("exposures").keys() | fields_of("cameras").keys() | fields_of("papers").keys()
    assert not known & {"club", "owner", "revision", "number", "grade", "imported_in", "corrects", "role", "private"}


def test_headings_and_cells_are_data(here: Any) -> None:
    script = "<script>alert(1)</script>"
    batch = here.bring(as_csv([*SHORT, script], [[*GOOD[:-1], script, script]]))
    assert [column["column"] for column in batch["columns"]][-1] == script
    here.apply(batch)
    assert ExposureLog.objects.get().note == script


def test_another_clubs_things_are_not_found(here: Any) -> None:
    """Neither by code, nor by name, nor by id; the answer is that of a name that nobody has."""
    other = PaperFactory.create(name="Samphire")
    rows = [[*GOOD[:2], str(other.pk), *GOOD[3:]], [*GOOD[:2], "00000000-0000-0000-0000-000000000000", *GOOD[3:]]]
    told = [row["faults"][0]["code"] for row in here.rows(here.bring(as_csv(SHORT, rows)))]
    assert told == ["unknown_paper"] * 2


def test_an_id_of_another_clubs_log_is_refused_without_a_word_of_it(here: Any) -> None:
    log = here.apply(here.bring(as_csv(SHORT, [GOOD])))
    taken = here.rows(log)[0]["made"]
    elsewhere = MembershipFactory.create(role="keeper")
    PaperFactory.create(club=elsewhere.club, name="Glasswort")
    CameraSpecFactory.create(camera__club=elsewhere.club, camera__code="T1")
    here.at, here.client = f"/api/v1/clubs/{elsewhere.club.slug}/imports/", here.as_user(elsewhere.user)
    batch = here.bring(as_csv(["id", *SHORT], [[taken, *GOOD]]))
    refused = here.apply(batch, "all", 409)
    assert refused["detail"] == f"Another entry is stored under the id {taken}."
    assert ExposureLog.objects.count() == 1
