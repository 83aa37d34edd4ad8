"""Files of cells as people and programs write them, and those that are meant to do harm."""

import io
import zipfile
from datetime import datetime, time, timedelta
from typing import Any

import pytest
from openpyxl import Workbook

from exposures.imports.cells import CellFault, Format, read_cell, read_instant
from exposures.imports.fields import KINDS_OF_SHEET, Field, fields_of
from exposures.imports.sheets import read_sheet
from exposures.imports.words import in_words
from optics.core.faults import Impossible
from pinpool.conf import DEFAULTS
from pinpool.quantities import read_quantity
from tests.exposures.imports.messy import as_csv, as_xlsx

TIME = Field("exposure_time", "time")


def refusal(data: bytes, **told: Any) -> str:
    with pytest.raises(Impossible) as refused:
        read_sheet(data, **told)
    assert refused.value.field == "file"
    return refused.value.code


# --------------------------------------------------------------------------------------------------------- CSV


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize(
    ("encoding", "told"), [("utf-8", None), ("utf-8-sig", None), ("utf-16", None), ("cp1252", "cp1252")]
)
def test_delimiters_and_encodings(delimiter: str, encoding: str, told: str | None) -> None:
    rows = [["12,5", "Größe; 5 µm"], ["13", 'says "no",\nthen']]
    data = as_csv(["EV", "Note"], rows, delimiter=delimiter).decode().encode(encoding)
    assert read_sheet(data, encoding=told).table == [["EV", "Note"], *rows]


def test_what_is_not_said_is_not_guessed() -> None:
    data = as_csv(["EV", "Note"], [["13", "5 µm"]]).decode()
    assert refusal(data.encode("cp1252")) == "encoding"
    assert refusal(data.encode("utf-16-le")) == "encoding"
    assert read_sheet(data.encode("utf-16-le"), encoding="utf-16").table[1] == ["13", "5 µm"]


def test_titles_above_and_rows_between_keep_their_numbers() -> None:
    sheet = read_sheet(b"Our log\r\n\r\nEV,Note\r\n13,a\r\n,\r\n14,b\r\n,\r\n\r\n")
    assert (sheet.first_row, sheet.table) == (3, [["EV", "Note"], ["13", "a"], ["", ""], ["14", "b"]])
    assert read_sheet(b"sep=;\r\nEV;Note\r\n13;a,b\r\n").first_row == 2


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "empty"),
        (b"\n \n", "empty"),
        (b"EV,Note\n", "empty"),
        (b"EV\n13\n", "empty"),
        (b"EV,Note\n13,a\0b\n", "encoding"),
        (b"EV,Note\n13," + b"a" * (DEFAULTS["MAX_IMPORT_CELL"] + 1), "cell_too_long"),
        (b"EV,Note\n13," + b"a" * 200_000, "sheet_unreadable"),
        (b"EV,Note\n" + b"," * DEFAULTS["MAX_IMPORT_COLUMNS"] + b"1", "too_many_columns"),
        (b"EV,Note\n" + b"13,a\n" * (DEFAULTS["MAX_IMPORT_ROWS"] + 1), "too_many_rows"),
        (b"\xd0\xcf\x11\xe0" + b"\0" * 600, "sheet_kind"),
        (b"\x89PNG\r\n\x1a\n", "encoding"),
    ],
    ids=lambda value: ascii(value)[:30],
)
def test_files_that_are_none(data: bytes, code: str) -> None:
    assert refusal(data) == code


@pytest.mark.parametrize(
    ("name", "most", "code"),
    [
        ("BYTES", 39, "too_large"),
        ("ROWS", 1, "too_many_rows"),
        ("COLUMNS", 2, "too_many_columns"),
        ("CELL", 11, "cell_too_long"),
    ],
)
def test_the_host_site_says_how_much_a_sheet_may_hold(settings: Any, name: str, most: int, code: str) -> None:
    """One less than the file has is refused; as much as it has is read."""
    data = b"EV,Note,Who\n13,a,walker\n14,cloud at end,b\n"
    settings.PINPOOL = {f"MAX_IMPORT_{name}": most}
    assert refusal(data) == code
    settings.PINPOOL = {f"MAX_IMPORT_{name}": most + (len(data) - most if name == "BYTES" else 1)}
    assert len(read_sheet(data).table) == 3


@pytest.mark.parametrize("name", ["UNPACKED_BYTES", "PARTS", "TAGS"])
def test_and_what_a_workbook_may_unpack_to(settings: Any, name: str) -> None:
    data = as_xlsx(["EV", "Note"], [[13, "a"]])
    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        listed = parts.infolist()
        has = {
            "UNPACKED_BYTES": sum(part.file_size for part in listed),
            "PARTS": len(listed),
            "TAGS": sum(parts.read(part).count(b"<") for part in listed),
        }[name]
    settings.PINPOOL = {f"MAX_IMPORT_{name}": has - 1}
    assert refusal(data) == "too_large"
    settings.PINPOOL = {f"MAX_IMPORT_{name}": has}
    assert len(read_sheet(data).table) == 2


# -------------------------------------------------------------------------------------------------------- XLSX


def test_cells_of_a_workbook() -> None:
    row = [
        13,
        4.85,
        datetime.fromisoformat("2026-05-01T12:30"),
        time(0, 4, 50),
        timedelta(hours=26, minutes=5),
        True,
        "=1+1",
        " a ",
    ]
    data = as_xlsx([f"c{place}" for place in range(8)], [row])
    assert read_sheet(data).table[1] == [13, 4.85, "2026-05-01 12:30:00", "00:04:50", "26:05:00", "yes", "=1+1", "a"]


def test_the_first_sheet_to_be_seen() -> None:
    book = Workbook()
    book.active.append(["hidden", "sheet"])
    book.active.append([1, 2])
    book.active.sheet_state = "hidden"
    shown = book.create_sheet("Log")
    shown.append(["EV", "Note"])
    shown.append([13, "a"])
    file = io.BytesIO()
    book.save(file)
    assert read_sheet(file.getvalue()).table == [["EV", "Note"], [13, "a"]]


GOOD = as_xlsx(["EV", "Note"], [[13, "a"]])


def bent(change: Any = None, **parts: bytes) -> bytes:
    """The good workbook with parts added, or with its sheet's XML changed."""
    file = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(GOOD)) as old, zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            text = old.read(name)
            new.writestr(name, change(text) if change and name.endswith("sheet1.xml") else text)
        for name, text in parts.items():
            new.writestr(name, text)
    return file.getvalue()


def with_rows(xml: bytes) -> Any:
    return lambda text: text.replace(b"</sheetData>", xml + b"</sheetData>")


def cell(at: str, value: str = "<v>1</v>") -> bytes:
    row = at.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    return f'<row r="{row}"><c r="{at}">{value}</c></row>'.encode()


ENTITY = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (bent(**{"xl/bomb.xml": b"0" * 70_000_000}), "too_large"),
        (bent(**{f"xl/part{number}.xml": b"" for number in range(600)}), "too_large"),
        (bent(with_rows(b"<row>" + b"<c/>" * 2_000_000 + b"</row>")), "too_large"),
        (bent(**{"xl/externalLinks/externalLink1.xml": b"<a/>"}), "external_links"),
        (bent(**{"xl/vbaProject.bin": b"x"}), "sheet_kind"),
        (bent(with_rows(cell("A1048576"))), "too_many_rows"),
        (bent(with_rows(cell("A999999999999"))), "too_many_rows"),
        (bent(with_rows(cell("XFD3"))), "too_many_columns"),
        (bent(with_rows(cell("ABCDEFG3"))), "sheet_unreadable"),
        (bent(with_rows(cell("A-5"))), "sheet_unreadable"),
        (bent(with_rows(cell("A3", f"<v>{'9' * 5000}</v>"))), "sheet_unreadable"),
        (bent(lambda text: ENTITY + text), "sheet_unreadable"),
        (bent(lambda text: text[:-30]), "sheet_unreadable"),
        (GOOD[: len(GOOD) // 2], "sheet_unreadable"),
        (b"PK\x03\x04" + b"\0" * 100, "sheet_unreadable"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_workbooks_that_are_none(data: bytes, code: str) -> None:
    assert refusal(data) == code


def test_a_workbook_that_lies_about_its_size_is_read_as_it_is() -> None:
    def lie(text: bytes) -> bytes:
        return text.replace(b"<sheetData>", b'<dimension ref="A1:XFD1048576"/><sheetData>')

    assert read_sheet(bent(lie)).table == [["EV", "Note"], [13, "a"]]
    # Cells far out that hold nothing, as a formatted sheet has them.
    assert read_sheet(bent(with_rows(cell("XFD1048576", "")))).table == [["EV", "Note"], [13, "a"]]


# ------------------------------------------------------------------------------------------------------- cells


@pytest.mark.parametrize(
    ("text", "form", "seconds"),
    [
        ("4 min 50", Format(), 290),
        ("4min50s", Format(), 290),
        ("1h05", Format(), 3900),
        ("1 h 5 min 3", Format(), 3903),
        ("4'50\"", Format(), 290),
        ("4′50″", Format(), 290),
        ("4m30", Format(), 270),
        ("90 sec.", Format(), 90),
        ("2 hours and 5 minutes", Format(), 7500),
        ("1:04:50", Format(), 3890),
        ("4:50", Format(colon="min:s"), 290),
        ("4:50", Format(colon="h:min"), 17400),
        ("4,5", Format(decimal=",", unit="min"), 270),
        ("4,5 min", Format(decimal=","), 270),
        ("4.5", Format(unit="min"), 270),
        (4.5, Format(unit="min"), 270),
        ("1½ min", Format(), 90),
        ("½", Format(unit="min"), 30),
        ("1/60", Format(unit="s"), 1 / 60),
        ("1 1/2", Format(unit="min"), 90),
    ],
)
def test_times_as_people_write_them(text: Any, form: Format, seconds: float) -> None:
    assert read_quantity(read_cell(text, TIME, form), "time").value == pytest.approx(seconds)


@pytest.mark.parametrize(
    "text", ["4 50", "soon", "4 5 min", "50 s 4 min", "4 min 50 min", "min", "--", "4..5 min", "4:75"]
)
def test_times_that_are_none(text: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        read_quantity(read_cell(text, TIME, Format(unit="min")), "time")


@pytest.mark.parametrize(
    ("text", "form", "instant"),
    [
        ("2026-05-01T12:00:00+02:00", Format(), "2026-05-01T12:00:00+02:00"),
        ("2026-05-01 12:00Z", Format(zone="Europe/Lisbon"), "2026-05-01T12:00:00+00:00"),
        ("1.5.2026", Format(date="day_first", zone="+01:00", clock="9:30"), "2026-05-01T09:30:00+01:00"),
        ("5/1/26 2:05 pm", Format(date="month_first", zone="UTC"), "2026-05-01T14:05:00+00:00"),
        ("1 May 2026, 14.05", Format(zone="Europe/Lisbon"), "2026-05-01T14:05:00+01:00"),
        ("May 1, 2026 12:00", Format(zone="Europe/Lisbon"), "2026-05-01T12:00:00+01:00"),
        ("1.5.49 12:00", Format(date="day_first", zone="UTC"), "2049-05-01T12:00:00+00:00"),
        ("1.5.50 12:00", Format(date="day_first", zone="UTC"), "1950-05-01T12:00:00+00:00"),
    ],
)
def test_days_and_times(text: str, form: Format, instant: str) -> None:
    assert read_instant(text, form) == instant


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("29.3.2026 1:30", "clock_change"),  # the hour that is left out
        ("25.10.2026 1:30", "clock_change"),  # the hour that comes twice
        ("31.2.2026 12:00", "invalid"),
        ("1.5.2026 25:00", "invalid"),
        ("1.13.2026 12:00", "invalid"),
        ("5 Maybe 2026 12:00", "invalid"),
    ],
)
def test_moments_that_are_none(text: str, code: str) -> None:
    with pytest.raises(CellFault) as fault:
        read_instant(text, Format(date="day_first", zone="Europe/Lisbon"))
    assert fault.value.code == code


def test_a_column_can_be_any_key_of_the_body_that_one_cell_can_hold() -> None:
    assert {"reading.ev", "reading.time", "result.judged_stops", "process.temperature", "place.latitude", "visibility",
            "f_number", "member"} <= fields_of("exposures").keys()  # fmt: skip
    assert {"spec.film_plane.kind", "spec.film_plane.diameter", "spec.hole.diameter"} <= fields_of("cameras").keys()
    assert {"size", "size.width", "expires_on", "sheets_left"} <= fields_of("papers").keys()
    assert "published.source" not in fields_of("papers")


@pytest.mark.parametrize("kind", KINDS_OF_SHEET)
def test_every_field_has_words_of_its_own(kind: str) -> None:
    """No two alike, and none that shows the name a program goes by."""
    words = [in_words(name) for name in fields_of(kind)]
    assert len(set(words)) == len(words)
    assert not [each for each in words if "_" in each or "." in each or not each[0].isalpha()]
