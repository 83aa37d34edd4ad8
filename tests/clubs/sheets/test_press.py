"""What comes out of the printer: true to 0.1 mm, read back by machines, tagged, and literally what was given."""

import io
import json
import re
from typing import Any
from xml.etree.ElementTree import fromstring

import numpy as np
import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from pypdf import PdfReader

from clubs.sheets import press
from clubs.sheets.blocks import BODY_MM, PAGES_MM, TRUE_SCALE_MM
from clubs.sheets.documents import digest, document
from tests.clubs.sheets.printed import MM, drawing, edges_mm, of_blocks, pages, raster, text_of

LONG = {"kind": "text", "text": "Salt marsh at low tide. " * 400}
TABLE = {"kind": "table", "columns": ["EV", "Time"], "rows": [[f"row {n}", f"{n} min"] for n in range(90)]}
FACTS = {"kind": "facts", "rows": [["Hole", "0.35 mm ± 0.01 mm"], ["f-number", "f/259 ± 7"]]}
EVERYTHING = [
    {"kind": "text", "text": "One line.\nThe next.\n\nAnother paragraph."},
    FACTS,
    TABLE | {"note": "Before reciprocity failure."},
    {"kind": "steps", "items": ["Mark the wall.", "Cut the opening."]},
    {"kind": "checklist", "items": ["Film in", "Shutter closed"]},
    {"kind": "caution", "text": "Blades cut."},
    drawing('<rect x="10" y="10" width="60" height="30" fill="none" stroke="#000" stroke-width="0.2"/>', 80, 50),
    {"kind": "code", "text": "https://club.example/cameras/T1/", "alt": "This camera."},
    {"kind": "fold"},
    {"kind": "break"},
    {"kind": "text", "text": "On a page of its own."},
]


def image_of(pdf: bytes, page: int = 0) -> Image.Image:
    return Image.fromarray(raster(pdf, page))


# -------------------------------------------------------------------------------------------------- true to size


@pytest.mark.parametrize("page", PAGES_MM)
def test_check_bars_are_100_mm_on_every_page(page: str) -> None:
    made = press.pdf(of_blocks(LONG, LONG, page=page))
    assert pages(made) >= 3
    width, height = PAGES_MM[page]
    for number in range(pages(made)):
        grey = raster(made, number)
        assert grey.shape == pytest.approx((height / MM, width / MM), abs=1.5)
        level = grey[round((height - 27) / MM) : round((height - 15) / MM), round(15 / MM) : round(125 / MM)]
        line = level[np.argmax((level < 128).sum(axis=1))]
        left, right = edges_mm(line)
        assert right - left == pytest.approx(100, abs=0.1)
        upright = grey[:, round(7 / MM) : round(11.9 / MM)]
        top, bottom = edges_mm(upright[:, np.argmax((upright < 128).sum(axis=0))])
        assert bottom - top == pytest.approx(100, abs=0.1)


@pytest.mark.parametrize("page", PAGES_MM)
@pytest.mark.parametrize(("wide", "high"), [(60.0, 30.0), (101.6, 127.0), (BODY_MM["a4"][0], 40.0), (33.3, 200.0)])
def test_drawings_in_true_scale_are_true(page: str, wide: float, high: float) -> None:
    """A filled rectangle is as wide and as high on paper as it says, wherever the page puts it."""
    box = f'<rect x="0" y="0" width="{wide:g}" height="{high:g}" fill="#000"/>'
    made = press.pdf(of_blocks(FACTS, drawing(box, wide, high), page=page))
    [found] = [at for at in range(pages(made)) if _black_box(raster(made, at))]
    rows, columns = _black_box(raster(made, found))
    assert columns[1] - columns[0] == pytest.approx(wide, abs=0.1)
    assert rows[1] - rows[0] == pytest.approx(high, abs=0.1)


def _black_box(grey: Any) -> Any:
    """The edges of the only large black area, in mm from the top and the left."""
    inner = grey[:, round(20 / MM) - 30 :]
    full = np.flatnonzero((inner < 128).mean(axis=1) > 0.12)
    if len(full) < 100:
        return None
    middle = int(full[len(full) // 2])
    column = round(20 / MM) - 30 + int(np.flatnonzero(inner[middle] < 128).mean())
    return edges_mm(_run(grey[:, column], middle)), edges_mm(_run(grey[middle], column))


def _run(line: Any, through: int) -> Any:
    """The line with nothing dark left but the run that goes through a place, and what it fades into."""
    kept = np.full_like(line, 255)
    low = high = through
    while low > 0 and line[low - 1] < 250:
        low -= 1
    while high < len(line) - 1 and line[high + 1] < 250:
        high += 1
    kept[low : high + 1] = line[low : high + 1]
    return kept


def test_other_drawings_are_shrunk_to_fit_and_say_so() -> None:
    box = '<rect x="0" y="0" width="400" height="100" fill="#000"/>'
    made = press.pdf(of_blocks(drawing(box, 400, 100, true_scale=False, caption="The shed.")))
    rows, columns = _black_box(raster(made))
    share = BODY_MM["a4"][0] / 400
    assert columns[1] - columns[0] == pytest.approx(400 * share, abs=0.1)
    assert rows[1] - rows[0] == pytest.approx(100 * share, abs=0.1)
    assert "The shed. Drawn at 44 % of its size; take no measure from it." in text_of(made)


@pytest.mark.parametrize("page", PAGES_MM)
def test_the_largest_true_drawing_has_its_heading_and_caption_on_its_page(page: str) -> None:
    wide, high = TRUE_SCALE_MM[page]
    box = f'<rect x="0" y="0" width="{wide}" height="{high}" fill="#000"/>'
    caption = "The opening as it is cut, seen from outside. " * 6
    made = press.pdf(of_blocks(drawing(box, wide, high, caption=caption), page=page))
    words = [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(made)).pages]
    assert len(words) == 2
    assert "What it is" in words[1]
    assert "True scale" in words[1]
    rows, columns = _black_box(raster(made, 1))
    assert columns[1] - columns[0] == pytest.approx(wide, abs=0.1)
    assert rows[1] - rows[0] == pytest.approx(high, abs=0.1)


# -------------------------------------------------------------------------------------------------------- codes


@pytest.mark.parametrize(
    "text", ["https://club.example/cameras/T1/", "x", "Grünes Döschen · f/259", "https://c.example/" + "a" * 580]
)
def test_codes_are_read_back_from_paper(text: str) -> None:
    made = press.pdf(of_blocks({"kind": "code", "text": text, "alt": "A code."}))
    [found] = zxingcpp.read_barcodes(image_of(made))
    assert found.text == text
    assert found.format == zxingcpp.BarcodeFormat.QRCode
    assert found.ec_level in {"M", "Q", "H"}


# ---------------------------------------------------------------------------------------------------- what it says


@pytest.mark.parametrize("page", PAGES_MM)
def test_every_page_says_what_it_is_of(page: str) -> None:
    made_of = of_blocks(*EVERYTHING, page=page) | {"number": 14}
    made = press.pdf(made_of)
    total = pages(made)
    for number, each in enumerate(PdfReader(io.BytesIO(made)).pages, 1):
        text = each.extract_text()
        for said in ("Sheet 14 · A tea caddy", "camera T1", f"Page {number} of {total}", digest(made_of)[:12]):
            assert said in text
        assert "2026-11-25" in text
        assert "Print at 100 %, no scaling" in text


def test_tables_break_with_their_header() -> None:
    texts = [page.extract_text() for page in PdfReader(io.BytesIO(press.pdf(of_blocks(TABLE)))).pages]
    with_rows = [text for text in texts if "row " in text]
    assert len(with_rows) >= 2
    assert all("EV" in text and "Time" in text for text in with_rows)
    assert re.findall(r"row \d+", " ".join(with_rows)) == [f"row {n}" for n in range(90)]


MARKUP = [
    "<script>alert(1)</script>", "#panic()", '#read("/etc/passwd")', "$x^2$", "*bold*", "_under_", "@ref", "<label>",
    "\\", "= Heading", "- item", "+ item", "/ term: x", "`raw`", "//comment", "/* comment */", "~", "---", "[x]", "{y}",
    "https://club.example", "'q' \"r\"", "#sys.inputs.data", "#(1+1)", "%s {0} ${x}", "&amp; &lt;",
]  # fmt: skip


@pytest.mark.parametrize("text", MARKUP)
def test_nothing_is_markup(text: str) -> None:
    blocks = [
        {"kind": "text", "text": f"A {text} Z"},
        {"kind": "facts", "rows": [[f"B {text} Z", f"C {text} Z"]]},
        {"kind": "table", "columns": [f"D {text} Z"], "rows": [[f"E {text} Z"]], "note": f"F {text} Z"},
        {"kind": "steps", "items": [f"G {text} Z"]},
        {"kind": "checklist", "items": [f"H {text} Z"]},
        {"kind": "caution", "text": f"I {text} Z"},
    ]
    printed = " ".join(text_of(press.pdf(of_blocks(*blocks, title=f"J {text} Z", subject=f"K {text} Z"))).split())
    for letter in "ABCDEFGHIJK":
        assert f"{letter} {' '.join(text.split())} Z" in printed, (letter, printed)


def test_line_breaks_are_kept_and_blank_parts_too() -> None:
    text = text_of(press.pdf(of_blocks({"kind": "text", "text": "first\nsecond\n\n\n\nthird\r\nfourth"}, FACTS)))
    assert [line.strip() for line in text.splitlines() if line.strip() in {"first", "second", "third", "fourth"}] == [
        "first", "second", "third", "fourth",
    ]  # fmt: skip


HARD = {
    "japanese": "塩の沼の缶", "emoji": "tin 📷👨‍👩‍👧🏽", "arabic": "علبة شاي", "hebrew": "קופסת תה",
    "combining": "Z̸̢̛a̶͜͝l̷̛͠g̴o e\u1ab0", "zero width": "a\u200bb\u200dc\ufeffd\u2060e", "hindi": "हिन्दी",
    "turned": "abc\u202edcba\u202c \u2066x", "controls": "a\x00b\x07c\x1bd\x7fe\x85f", "half": "a\ud83db",
    "private": "\ue000\U000f0000\uffff\U0010ffff", "unassigned": "\u0378\U000e0001",
    "greek": "φῶς", "cyrillic": "Банка",
    "lines": "a\u2028b\u2029c\x0bd\x0ce", "wide": "ＷＩＤＥ", "soft": "mud\u00adflat", "nothing": "\u200b",
}  # fmt: skip


@pytest.mark.parametrize("kind", HARD)
def test_no_letter_breaks_a_sheet(kind: str) -> None:
    text = HARD[kind]
    blocks = [
        {"kind": "text", "text": text},
        {"kind": "facts", "rows": [[text, text]]},
        {"kind": "table", "columns": [text], "rows": [[text]]},
        {"kind": "caution", "text": text + "."},
        drawing(f'<text x="5" y="10" font-size="4">{_plain(text)}</text>', 60, 20, alt=text + ".", caption=text),
        {"kind": "code", "text": "https://club.example/", "alt": text + "."},
    ]
    made_of = of_blocks(*blocks, title=text, subtitle=text, subject=text)
    made = press.pdf(made_of)
    assert pages(made) == 1
    said = "no font for" in text_of(made)
    assert said == (kind in {"japanese", "emoji", "private", "unassigned", "wide", "combining"})
    for page in press.svgs(made_of):
        fromstring(page)  # noqa: S314  (ours)


def _plain(text: str) -> str:
    """As an SVG that is well-formed could hold it."""
    return "".join(letter for letter in text if letter >= " " and letter not in "\ufffe\uffff\ud83d")


def test_letters_without_a_font_are_boxes_and_the_others_stay() -> None:
    text = text_of(press.pdf(of_blocks({"kind": "text", "text": "tin 塩海沼 of tea"})))
    assert "tin □□□ of tea" in text
    assert "Letters that this service has no font for are shown as □." in text


@pytest.mark.parametrize("letters", ["a", "word ", "—", "塩", "\u200d", "f/"])
def test_names_of_ten_thousand_letters_stay_on_their_pages(letters: str) -> None:
    text = (letters * 10_000)[:10_000]
    made_of = of_blocks(
        {"kind": "text", "text": text},
        {"kind": "facts", "rows": [[text[:2000], text[:2000]]]},
        {"kind": "table", "columns": ["one", "two", text[:300]], "rows": [[text[:2000], text[:2000], "c"]]},
        title=text, subtitle=text, subject=text,
    )  # fmt: skip
    for raw in (made_of, made_of | {"title": text, "subject": text, "subtitle": text}):
        made = press.pdf(raw)
        for page in range(pages(made)):
            grey = raster(made, page, dpi=72)
            assert (grey[:, -28:] > 200).all()  # nothing within 10 mm of the right edge
            assert (grey[-20:] > 200).all()


letters = st.text(st.characters(exclude_categories=()), max_size=30)


@given(letters, letters, st.lists(st.tuples(letters, letters), max_size=3))
@settings(max_examples=40, deadline=None, derandomize=True)
def test_any_text_makes_a_sheet(title: str, text: str, rows: list[tuple[str, str]]) -> None:
    blocks = [{"kind": "text", "text": text}, {"kind": "facts", "rows": [list(row) for row in rows]}]
    assert press.pdf(of_blocks(*blocks, title=title, subject=text)).startswith(b"%PDF-1.7")


# ------------------------------------------------------------------------------------------------- how it is made


@pytest.mark.parametrize("page", PAGES_MM)
def test_files_are_tagged_and_printed_unscaled(page: str) -> None:
    made = press.pdf(of_blocks(*EVERYTHING, page=page))
    for file in (made, press._written_on(made)):
        reader = PdfReader(io.BytesIO(file), strict=True)
        root: Any = reader.trailer["/Root"]
        assert root["/MarkInfo"]["/Marked"]
        assert root["/Lang"] == "en"
        assert root["/ViewerPreferences"]["/PrintScaling"] == "/None"
        assert root["/ViewerPreferences"]["/DisplayDocTitle"]
        assert reader.metadata is not None
        assert reader.metadata.title == "A tea caddy"
        assert b"<pdfuaid:part>1</pdfuaid:part>" in file
        tags = list(_tags(root["/StructTreeRoot"]))
        assert {"/H1", "/H2", "/Table", "/TR", "/TH", "/TD", "/THead", "/L", "/LI", "/Figure", "/Caption", "/P"} <= {
            tag["/S"] for tag in tags
        }
        assert [tag["/Alt"] for tag in tags if tag["/S"] == "/Figure"] == ["A drawing.", "This camera."]


def _tags(node: Any) -> Any:
    children = node.get("/K", [])
    for child in children if isinstance(children, list) else [children]:
        tag = child.get_object() if hasattr(child, "get_object") else child
        if isinstance(tag, dict) and "/S" in tag:
            yield tag
            yield from _tags(tag)


def test_a_catalog_that_moved_is_still_found() -> None:
    """Where another build of typst writes its catalog elsewhere, the file is written on instead."""
    made = press.pdf(of_blocks(FACTS))
    asked = b"/PrintScaling/None"
    plain = made.replace(asked, b"").replace(b"/Type/Catalog", b"/Type /Catalog")
    at = plain.rfind(b"startxref\n") + 10
    shifted = plain[:at] + b"%d\n%%%%EOF" % (plain.rfind(b"\nxref\n") + 1)
    root: Any = PdfReader(io.BytesIO(press._printed_unscaled(shifted))).trailer["/Root"]
    assert root["/ViewerPreferences"]["/PrintScaling"] == "/None"


def test_svg_pages_are_well_formed_and_still() -> None:
    found = press.svgs(of_blocks(*EVERYTHING))
    assert len(found) == pages(press.pdf(of_blocks(*EVERYTHING)))
    for number, page in enumerate(found, 1):
        root = fromstring(page)  # noqa: S314  (ours)
        assert root[0].text == f"A tea caddy, page {number} of {len(found)}"
        assert root.get("role") == "img"
        for element in root.iter():
            assert element.tag.rpartition("}")[2] not in {"script", "foreignObject", "iframe", "a", "animate", "set"}
            for name, value in element.attrib.items():
                assert not name.rpartition("}")[2].startswith("on")
                if name.rpartition("}")[2] in {"href", "src"}:
                    assert value.startswith(("#", "data:image/svg+xml;base64,"))


def test_a_hostile_title_stays_text_in_the_pages() -> None:
    title = '</title><script>alert(1)</script>"&'
    [page] = press.svgs(of_blocks(FACTS, title=title))
    root = fromstring(page)  # noqa: S314  (ours)
    assert root[0].text == f"{title}, page 1 of 1"
    assert not [element for element in root.iter() if element.tag.endswith("script")]


def test_the_same_data_makes_the_same_file() -> None:
    assert press.pdf(of_blocks(*EVERYTHING)) == press.pdf(of_blocks(*EVERYTHING))


def test_changes_stand_at_the_end() -> None:
    told = {"since": 12, "text": ["Hole: 0.35 mm → 0.32 mm."]}
    plain = of_blocks(FACTS)
    changed = plain | {"number": 14, "changes": told}
    assert digest(plain) == digest(changed)
    text = text_of(press.pdf(changed))
    assert text.index("What it is") < text.index("Changed since sheet 12") < text.index("Hole: 0.35 mm → 0.32 mm.")


def test_the_digest_is_of_what_is_told() -> None:
    made = of_blocks(*EVERYTHING)
    again = json.loads(json.dumps(dict(reversed(made.items()))))
    assert digest(made) == digest(again) == digest(made | {"made_at": "2031-01-01T00:00:00+00:00"})
    others = [of_blocks(*EVERYTHING[1:]), of_blocks(*EVERYTHING, page="letter"), of_blocks(*EVERYTHING, title="Other")]
    assert len({digest(made), *map(digest, others)}) == 4


def test_an_empty_document_is_a_sheet() -> None:
    made = document(kind="test", title="", subject="", made_at="", sections=[])
    assert pages(press.pdf(made)) == 1
