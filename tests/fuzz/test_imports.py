"""Sheets of anything: a table or a refusal, and what is read of one can be mapped, imported and taken out again."""

import csv
import io
import zipfile
from contextlib import suppress
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from hypothesis import given
from hypothesis import strategies as st

from exposures.imports.cells import DATE_ORDERS, DECIMALS, CellFault, Format, read_cell, read_instant
from exposures.imports.fields import KINDS_OF_SHEET, fields_of
from exposures.imports.sheets import DELIMITERS, ENCODINGS, read_sheet
from exposures.imports.times import COLONS
from optics.core.faults import Impossible
from tests.clubs.test_api import Here
from tests.exposures.imports.messy import as_xlsx
from tests.fuzz.effort import tries

#: What people, programs and tricksters write into a cell.
WORDS = st.sampled_from([
    "", " ", "-", "1", "0", "-1", "12", "13,5", "13.5", "1e400", "NaN", "inf", "9" * 40, "0x10", "½", "1 ½", "1/60",
    "1/0",
    "٣", "²", "1 h 20 min", "4:50", "25:61", "3 min", "0.35 mm", "61", "1,000", "f/250", "EV 13", "iso 100", "T1",
    "Glasswort",
    "2026-05-01", "2026-05-01T12:00Z", "0001-01-01T00:00+14:00", "9999-12-31 23:59 -14:00", "31/02/2026", "3/5/26",
    "1 May 2026",
    "29 Foo 2026", "12:00", "2:05 pm", "24:00", "yes", "no", "x", "drum", "flat", "graded paper", "=1+1", "'=1", "@a",
    "#REF!",
    "#N/A", "walker-1", "nobody", "../../etc", "\u202e", "\ufeff", "\x0b", "é", "🐚", "a" * 300, "shared", "private",
    "2026-03-29 02:30",
])  # fmt: skip
CELLS = st.one_of(WORDS, WORDS, st.text(max_size=6), st.lists(WORDS, min_size=2, max_size=3).map(" ".join))
FORMATS = st.builds(
    Format,
    decimal=st.sampled_from([None, *DECIMALS]),
    unit=st.sampled_from([None, "mm", "in", "min", "s", "h", "°", "degC"]),
    date=st.sampled_from([None, *DATE_ORDERS]),
    zone=st.sampled_from([None, "UTC", "Europe/Lisbon", "+14:00", "-12:00", "Pacific/Apia"]),
    clock=st.sampled_from([None, "12:00", "00:00", "11 pm"]),
    colon=st.sampled_from([None, *COLONS]),
)
#: Parts of a workbook's XML that say something of what is in it.
TAGS = [
    b"<row>", b"</row>", b'<row r="-1">', b'<row r="1e9"/>', b'<c r="A1"/>', b'<c r="A0"><v>1</v></c>', b'<c r=""/>',
    b"<c><v>",
    b'<c r="B2" t="s"><v>99999</v></c>', b'<c r="B2" t="s"><v>-1</v></c>', b'<c r="B2" t="e"><v>#REF!</v></c>',
    b'<c r="B2" t="d"><v>nonsense</v></c>', b'<c r="B2" t="n"><v>1e999</v></c>', b'<c r="B2"><v>NaN</v></c>',
    b"&lt;&#0;", b"&#55296;",
    b'<c r="B2" s="9999"><v>1</v></c>', b'<c r="B2" t="inlineStr"><is><t>a</t></is></c>', b'<c r="B2"><f>1+1</f></c>',
    b"<!--", b"]]>",
    b'<c r="B2" t="b"><v>2</v></c>', b'<c r="B2"><f t="shared" si="0" ref="A1:XFD1048576">A1</f></c>', b"<![CDATA[",
    b"\0", b"\xff",
    b'<c r="B2"><f t="array" ref="A1:B2">1</f></c>', b'<c r="B2"><f t="dataTable" ref="x"/></c>',
    b'<c r="XFD1048576"><v>1</v></c>',
    b'<sheetView tabSelected="x"/>', b'<dimension ref="A1:Z"/>', b'date1904="1"', b'state="hidden"',
    b'count="99999999"', b'xml:space="x"',
]  # fmt: skip
BOOK = as_xlsx(["EV", "Note", "Date"], [[13, "a", 46000.5], [12.5, "b", "2026-05-01"]])


def read(data: bytes, **said: Any) -> None:
    """A whole table of texts and numbers, or a refusal."""
    try:
        sheet = read_sheet(data, **said)
    except Impossible:
        return
    assert len(sheet.table) > 1
    assert len({len(row) for row in sheet.table}) == 1
    for cell in (cell for row in sheet.table for cell in row):
        assert isinstance(cell, str | int | float)
        assert not isinstance(cell, str) or "\0" not in cell
        str(cell).encode()


def table_of(rows: list[list[str]], delimiter: str, line: str) -> str:
    file = io.StringIO()
    csv.writer(file, delimiter=delimiter, lineterminator=line).writerows(rows)
    return file.getvalue()


@tries(80, 30_000)
@given(
    data=st.one_of(
        st.binary(max_size=200),
        st.text(max_size=100).map(lambda text: text.encode("utf-16")),
        st.lists(st.sampled_from(['"', ",", ";", "\t", "\r", "\n", "a", "é", "\0", "sep=;", "\ufeff", "=1"]),
        max_size=60).map(
            lambda signs: "".join(signs).encode()
        ),
        st.tuples(
            st.lists(st.lists(CELLS, min_size=2, max_size=4), min_size=2, max_size=6), st.sampled_from(",;\t"),
            st.sampled_from(["\n", "\r\n", "\r"]), st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le",
            "cp1252"]),
        ).map(lambda told: table_of(*told[:3]).encode(told[3], "replace")),
    ),
    encoding=st.sampled_from([None, *ENCODINGS]), delimiter=st.sampled_from([None, *DELIMITERS]),
)  # fmt: skip
def test_any_bytes(data: bytes, encoding: str | None, delimiter: str | None) -> None:
    read(data, encoding=encoding, delimiter=delimiter)


@pytest.mark.parametrize(
    "data",
    [
        b"a," * 10**6 + b"\n1,2\n", b"a,b\n" + b"1," * 10**6, b"a,b\n" * 10**6, b"a,b\n" + b"\n" * 10**6 + b"1,2",
        b"a,b\r" * 10**5,
        b'a,b\n"' + b"x" * 5_000_000, b'"a""' * 10**6, b"sep=;\n" * 10**5, b"\xff\xfe" + b"\x00\xd8" * 10**5,
        b"a;b\n1;2\n" + b"\xfe" * 9,
    ],
    ids=[
        "wide heading", "wide row", "long", "gap", "old line ends", "long cell", "quotes", "sep", "half characters",
        "no text"],
)  # fmt: skip
def test_sheets_beyond_all_measure(data: bytes) -> None:
    read(data)


@tries(60, 15_000)
@given(data=st.data())
def test_bent_workbooks(data: st.DataObject) -> None:
    """Every part is well packed; what is in it is not well."""
    file = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(BOOK)) as old, zipfile.ZipFile(file, "w") as new:
        names = old.namelist()
        bent = data.draw(st.lists(st.sampled_from(names), min_size=1, max_size=2, unique=True))
        for name in names:
            text = old.read(name)
            for _ in range(data.draw(st.integers(1, 4)) if name in bent else 0):
                ends = [at + 1 for at, sign in enumerate(text) if sign in b'>" ='] or [0]
                at, put = data.draw(st.sampled_from(ends)), data.draw(st.sampled_from([*TAGS, b""]))
                text = text[:at] + put + text[at + data.draw(st.integers(0, 30)) * (not put) :]
            if data.draw(st.integers(0, 20)):
                new.writestr(name, text)
    read(file.getvalue())


@tries(60, 30_000)
@given(at=st.integers(0, len(BOOK)), put=st.binary(max_size=4), cut=st.integers(0, len(BOOK)), whole=st.booleans())
def test_broken_workbooks(at: int, put: bytes, cut: int, whole: bool) -> None:
    read((BOOK[:at] + put + BOOK[at + len(put) :])[: None if whole else cut])


@tries(100, 50_000)
@given(kind=st.sampled_from(list(KINDS_OF_SHEET)), data=st.data(), form=FORMATS)
def test_any_cell_of_any_column(kind: str, data: st.DataObject, form: Format) -> None:
    field = data.draw(st.sampled_from(list(fields_of(kind).values())))
    cell = data.draw(st.one_of(CELLS, st.integers(), st.floats(allow_nan=False, allow_infinity=False)))
    with suppress(CellFault):
        if field.kind == "instant":
            read_instant(cell, form, data.draw(CELLS))
        else:
            read_cell(cell, field, form)


@tries(8, 800)
@given(kind=st.sampled_from(list(KINDS_OF_SHEET)), data=st.data())
def test_sheets_brought_in_and_taken_out(here: Here, kind: str, data: st.DataObject) -> None:
    fields, client = fields_of(kind), here.clients["keeper"]
    columns = data.draw(st.lists(st.sampled_from([*fields, "What"]), min_size=2, max_size=8, unique=True))
    rows = data.draw(st.lists(st.lists(CELLS, min_size=len(columns), max_size=len(columns)), min_size=1, max_size=4))
    text = table_of([columns, *rows], ",", "\n").replace("\0", "")
    file = SimpleUploadedFile("a" + data.draw(st.text(max_size=9)).replace("/", "|"), text.encode("utf-8", "replace"))
    sent = client.post(f"{here.at}imports/", {"kind": kind, "file": file}, format="multipart")
    assert sent.status_code in {201, 400, 409, 422}, sent.content
    if sent.status_code != 201:
        return
    batch, at = sent.json(), f"{here.at}imports/{sent.json()['id']}/"
    forms = [
        {"column": name[:90], "field": name, "format": data.draw(FORMATS).stored()}
        for name in columns
        if name in fields
    ]
    body = {"columns": forms, "fixed": data.draw(st.dictionaries(st.sampled_from(list(fields)), CELLS, max_size=2))}
    for call, status in (
        (lambda: client.patch(at, body, headers={"If-Match": "*"}), {200, 400, 422}),
        (lambda: client.patch(at, {"columns": forms[:1]}, headers={"If-Match": "*"}), {200, 400, 422}),
        (lambda: client.get(f"{at}rows/"), {200}),
        (lambda: client.post(f"{at}apply/", {"rows": "good"}, headers={"If-Match": "*"}), {200, 409, 422}),
        (lambda: client.get(at), {200}),
        (lambda: client.post(f"{at}undo/", {}, headers={"If-Match": "*"}), {200, 409, 422}),
    ):
        answer = call()
        assert answer.status_code in status, (batch, answer.content)
    here.batch.__class__.objects.filter(pk=batch["id"]).delete()  # only so many are kept untouched
