"""Logs that plug-ins read: their tables go the way of any sheet, and what is no table names who returned it."""

from collections.abc import Callable, Iterator
from functools import partial
from io import BytesIO
from itertools import count
from typing import Any

import numpy as np
import pytest

from exposures.imports.importers import LONGEST_REFUSAL
from exposures.models import ExposureLog
from optics.core.faults import Impossible
from pinpool.plugins import registry
from pinpool.plugins.loading import Entry
from pinpool.plugins.model import Contribution, LogTable, Plugin
from pinpool.testing import faults_of
from tests.exposures.imports.conftest import Club
from tests.problems import faults_in, problem_of

COLUMNS = ("camera", "paper", "taken_at", "reading.ev", "exposure_time", "note")


def pages(content: bytes, name: str) -> LogTable:
    """An invented format: an entry a line, its parts between slashes; `?` is nothing."""
    if b"/" not in content:
        raise Impossible("no_entry", f"{name} has no entry.")
    lines = [line.split("/") for line in content.decode().splitlines()]
    return LogTable(COLUMNS, ([None if part == "?" else part for part in line] for line in lines))


@pytest.fixture
def reads(monkeypatch: pytest.MonkeyPatch, here: Club) -> dict[str, Callable[..., Any]]:
    """The plug-in “binder” is installed and on in the club; what it reads with can be exchanged."""
    functions: dict[str, Callable[..., Any]] = {"now": pages}

    def made(**values: Any) -> Any:
        return functions["now"](**values)

    importer = Contribution("binder_pages", "pages of a binder", "invented", made)
    plugin = Plugin("binder", "1", (1, 0), log_importers=(importer,))
    entries = (*registry.entries(), Entry("binder", "binder", "1", "active", "Loaded.", plugin))
    monkeypatch.setattr(registry, "entries", lambda: entries)
    here.club.plugins = ["binder"]
    here.club.save()
    return functions


def send(here: Club, content: bytes = b"T1/Glasswort/2026-05-01T12:00Z/13/4 min/?", **more: Any) -> Any:
    file = BytesIO(content)
    file.name = "may.pages"
    form = {"file": file, "kind": "exposures", "importer": "binder_pages"} | more
    return here.client.post(here.at, form, format="multipart")


@pytest.mark.usefixtures("reads")
def test_its_rows_are_tried_imported_and_undone(here: Club) -> None:
    lines = b"T1/Glasswort/2026-05-01T12:00Z/13/4 min/calm\nT1/Glasswort/2026-05-02T12:00Z/13/4,5 min/?"
    tried = send(here, lines)
    assert tried.status_code == 201, tried.content
    batch = tried.json()
    assert [column["field"] for column in batch["columns"]] == list(COLUMNS)
    assert (batch["rows"]["good"], batch["rows"]["faulty"], batch["file_name"]) == (1, 1, "may.pages")
    assert {question["about"] for question in batch["questions"]} == {"decimal"}
    at = f"{here.at}{batch['id']}/"
    done = here.client.post(at + "apply/", {"rows": "good"}, headers={"If-Match": tried["ETag"]})
    assert done.json()["rows"]["imported"] == 1
    [log] = ExposureLog.objects.all()
    assert (log.exposure_time_s, log.note) == (240, "calm")
    here.client.post(at + "undo/", {}, headers={"If-Match": done["ETag"]})
    assert not ExposureLog.objects.exists()


@pytest.mark.usefixtures("reads")
def test_what_does_not_go_together(here: Club) -> None:
    assert faults_in(send(here, kind="papers", encoding="utf-8"), 400) == {
        ("/kind", "invalid_choice"), ("/encoding", "unknown_key"),
    }  # fmt: skip
    assert faults_in(send(here, importer="ledger"), 400) == {("/importer", "invalid_choice")}
    assert faults_in(send(here, b"nothing"), 422) == {("/file", "no_entry")}
    here.club.plugins = []
    here.club.save()
    assert faults_in(send(here), 422) == {("/importer", "plugin_off")}


def test_formulas_stay_text_that_nothing_works_out(here: Club, reads: Any) -> None:
    reads["now"] = partial(pages_of, [["T1", "Glasswort", "2026-05-01T12:00Z", 13, "=2*60", '=HYPERLINK("x")']])
    batch = send(here).json()
    assert batch["rows"]["faulty"] == 1
    [row] = here.client.get(f"{here.at}{batch['id']}/rows/").json()["results"]
    assert {fault["field"] for fault in row["faults"]} == {"exposure_time", "note"}


class Torn(str):
    """A text of a type of its own, which does not do as texts do."""

    def strip(self, *_args: Any) -> str:
        raise RuntimeError("a torn page")


def test_values_of_a_type_of_its_own_become_plain(here: Club, reads: Any) -> None:
    row = [Torn("T1"), np.str_("Glasswort"), "2026-05-01T12:00Z", np.float64(13), "4 min", Torn("calm ")]
    reads["now"] = partial(pages_of, [row], [Torn(column) for column in COLUMNS])
    batch = send(here).json()
    assert batch["rows"]["good"] == 1
    [read] = here.client.get(f"{here.at}{batch['id']}/rows/").json()["results"]
    assert (read["read"]["reading"], read["read"]["note"]) == ({"ev": 13}, "calm")


def test_a_refusal_is_said_at_the_file(here: Club, reads: Any) -> None:
    """Though it quotes bytes that are no text, is long, or names a field of the importer's own."""

    def refusing(**_values: Any) -> LogTable:
        raise Impossible("odd_page", b"page \xff".decode(errors="surrogateescape") + "." * 10_000, "page")

    reads["now"] = refusing
    refusal = send(here)
    assert faults_in(refusal, 422) == {("/file", "odd_page")}
    assert refusal.json()["detail"].startswith("page ?..")
    assert len(refusal.json()["detail"]) == LONGEST_REFUSAL


def pages_of(rows: Any, columns: Any = COLUMNS, **_values: Any) -> LogTable:
    return LogTable(columns, rows)


def endless() -> Iterator[list[str]]:
    while True:
        yield ["x"] * len(COLUMNS)


def breaking() -> Iterator[list[str]]:
    yield ["x"] * len(COLUMNS)
    raise RuntimeError("a torn page")


@pytest.mark.parametrize(
    ("made", "told"),
    [
        (lambda **_: {"columns": []}, "did not return a LogTable"),
        (partial(pages_of, None), "raised TypeError"),
        (partial(pages_of, breaking()), "raised RuntimeError"),
        (partial(pages_of, [["T1"]]), "row 1 has 1 cells for 6 columns"),
        (partial(pages_of, [[{}] * 6]), "row 1 holds a dict"),
        (partial(pages_of, [[float("nan")] * 6]), "row 1 holds a number that is none"),
        (partial(pages_of, [[10**5000] * 6]), "row 1 holds a number that is none"),
        (partial(pages_of, [["\udcff"] * 6]), "row 1 holds a text with characters that are none"),
        (partial(pages_of, [["x", "y"]], ("note", "\udcff")), "a column has no name, or one that another has"),
        (partial(pages_of, [["x", "y"]], ("note", "note")), "a column has no name, or one that another has"),
        (partial(pages_of, [["x", "y"]], ("note", 5)), "a column has no name, or one that another has"),
    ],
)
def test_what_is_no_table_names_the_plug_in(here: Club, reads: Any, made: Any, told: str) -> None:
    reads["now"] = made
    detail = problem_of(send(here), 502)["detail"]
    assert detail.startswith("Plug-in binder: log_importers “binder_pages” ")
    assert told in detail


def test_a_sheets_limits_hold(here: Club, reads: Any, settings: Any) -> None:
    settings.PINPOOL = {**settings.PINPOOL, "MAX_IMPORT_ROWS": 50, "MAX_IMPORT_CELL": 100, "MAX_IMPORT_COLUMNS": 6}
    for rows, columns, code in (
        (endless(), COLUMNS, "too_many_rows"),
        ([["x" * 101] * 6], COLUMNS, "cell_too_long"),
        ([["x"] * 7], (*COLUMNS, "more"), "too_many_columns"),
        ([["\0"] * 6], COLUMNS, "sheet_unreadable"),
        ([], COLUMNS, "empty"),
    ):
        reads["now"] = partial(pages_of, rows, columns)
        assert faults_in(send(here), 422) == {("/file", code)}
    assert faults_in(send(here, b" "), 422) == {("/file", "empty")}


@pytest.mark.usefixtures("reads")
def test_the_page_offers_it(here: Club, api: Any) -> None:
    api.force_login(here.keeper.user)
    page = api.get(f"/clubs/{here.club.slug}/imports/").content.decode()
    assert '<option value="binder_pages">Pages of a binder</option>' in page
    here.club.plugins = []
    here.club.save()
    assert "binder_pages" not in api.get(f"/clubs/{here.club.slug}/imports/").content.decode()


# ------------------------------------------------------------------------------------------- the authors' checks

PAGES = "T1/Glasswort/2026-05-01T12:00Z/13/4 min/calm"


def faults(made: Callable[..., Any], *examples: Any) -> list[str]:
    importer = Contribution("binder_checked", "pages of a binder", "invented", made)
    plugin = Plugin("binder", "1", (1, 0), log_importers=(importer,))
    return faults_of(plugin, {"binder_checked": list(examples)})


def counting() -> Callable[..., LogTable]:
    """An importer that numbers the files it has read."""
    numbers = count(1)

    def made(content: bytes, name: str) -> LogTable:
        table = pages(content, name)
        return LogTable(table.columns, [[*list(row)[:-1], f"file {next(numbers)}"] for row in table.rows])

    return made


def test_a_sound_importer_has_no_faults() -> None:
    assert faults(pages, {"content": PAGES, "name": "may.pages"}) == []


@pytest.mark.parametrize(
    ("made", "example", "told"),
    [
        (pages, {}, "give examples as"),
        (pages, {"content": "nothing"}, "example 1: it refuses its own file: example has no entry."),
        (lambda **_: {}, {"content": PAGES}, "did not return a LogTable"),
        (counting(), {"content": PAGES}, "the same file read again gives other rows"),
        (partial(pages_of, [["T1", "4 min"]], ("camera", "seconds")), {"content": PAGES},
         "“seconds” is no field of a log; there are id, camera"),
        (partial(pages_of, [["T1", "often"]], ("camera", "reading.ev")), {"content": PAGES},
         "what stands in “reading.ev” does not look like it"),
        (lambda content, **_: LogTable(COLUMNS, [content.decode().split("/")]), {"content": PAGES},
         "“binder_checked” raised UnicodeDecodeError"),
    ],
)  # fmt: skip
def test_each_fault_of_an_importer_is_told(made: Any, example: Any, told: str) -> None:
    found = faults(made, example)
    assert any(told in fault for fault in found), found
    assert all(fault.startswith(("log_importers “binder_checked”: ", "Plug-in")) for fault in found)
