"""What may be set: every kind of block, each fault with its place, and drawings that reach for nothing."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clubs.sheets import press
from clubs.sheets.blocks import KINDS, TRUE_SCALE_MM, Faulty, checked
from clubs.sheets.documents import read_document
from tests.clubs.sheets.printed import drawing, of_blocks

GOOD: dict[str, dict[str, Any]] = {
    "text": {"kind": "text", "text": "Salt marsh."},
    "facts": {"kind": "facts", "rows": [["Hole", "0.35 mm"]]},
    "table": {"kind": "table", "columns": ["EV", "Time"], "rows": [["12", "20 s"]], "note": "invented"},
    "steps": {"kind": "steps", "items": ["Cut."]},
    "checklist": {"kind": "checklist", "items": ["Film in"]},
    "caution": {"kind": "caution", "text": "Blades cut."},
    "drawing": drawing('<circle cx="5" cy="5" r="4"/>', 40, 10),
    "code": {"kind": "code", "text": "https://club.example/", "alt": "The club."},
    "fold": {"kind": "fold"},
    "break": {"kind": "break"},
}


def faults(*blocks: Any, page: str = "a4") -> list[str]:
    with pytest.raises(Faulty) as raised:
        checked([{"title": "X", "blocks": list(blocks)}], page=page)
    return raised.value.faults


def test_every_kind_is_known_here() -> None:
    assert GOOD.keys() == KINDS.keys()


@pytest.mark.parametrize("kind", GOOD)
def test_good_blocks_pass_and_are_set(kind: str) -> None:
    [section] = checked([{"title": "X", "blocks": [GOOD[kind]]}])
    again = checked([section])
    assert again == [section]
    assert press.pdf(of_blocks(GOOD[kind])).startswith(b"%PDF")


def test_what_may_be_left_out_comes_with_what_it_then_is() -> None:
    bare = {name: value for name, value in GOOD["drawing"].items() if name not in {"caption", "true_scale"}}
    [section] = checked([{"title": "", "blocks": [bare]}])
    assert (section["blocks"][0]["caption"], section["blocks"][0]["true_scale"]) == ("", False)


@pytest.mark.parametrize("kind", [kind for kind in GOOD if len(GOOD[kind]) > 1])
def test_a_missing_or_unknown_key_is_told(kind: str) -> None:
    for name in KINDS[kind][0]:
        left = {key: value for key, value in GOOD[kind].items() if key != name}
        assert f"sections/0/blocks/0: the key {name} is missing." in faults(left)
    [fault] = faults(GOOD[kind] | {"colour": "red"})
    assert fault.startswith("sections/0/blocks/0: 'colour' is none of the keys kind, ")


WRONG: list[tuple[str, Any, str]] = [
    ("text", {"text": 5}, "/text: this must be a text, not 5."),
    ("text", {"text": "a" * 10_001}, "/text: the text has 10001 letters; at most 10000 are set."),
    ("caution", {"text": " "}, "/text: the text is empty."),
    ("facts", {"rows": [["a"]]}, "/rows/0: there are 1; 2 to 2 are set."),
    ("facts", {"rows": [["a", None]]}, "/rows/0/1: this must be a text, not None."),
    ("table", {"rows": [["1", "2", "3"]]}, "/rows/0: the row has 3 cells, the table 2 columns."),
    ("table", {"columns": []}, "/columns: there are 0; 1 to 12 are set."),
    ("table", {"rows": "abc"}, "/rows: this must be a list, not 'abc'."),
    ("steps", {"items": ["a"] * 201}, "/items: there are 201; 0 to 200 are set."),
    ("drawing", {"width_mm": float("nan")}, "/width_mm: this must be a length in mm, not nan."),
    ("drawing", {"width_mm": True}, "/width_mm: this must be a length in mm, not True."),
    ("drawing", {"height_mm": 0}, "/height_mm: 0 mm is outside 1 to 100 000 mm."),
    ("drawing", {"true_scale": 1}, "/true_scale: this must be true or false, not 1."),
    ("drawing", {"alt": ""}, "/alt: the text is empty."),
    ("code", {"text": "é" * 301}, "/text: a code holds at most 600 bytes; this is 602."),
    ("code", {"text": ""}, "/text: the text is empty."),
]


@pytest.mark.parametrize(("kind", "change", "told"), WRONG, ids=[told[:40] for _, _, told in WRONG])
def test_each_fault_says_where_and_what(kind: str, change: Any, told: str) -> None:
    assert f"sections/0/blocks/0{told}" in faults(GOOD[kind] | change)


@pytest.mark.parametrize("block", [None, 5, "text", [], {}, {"kind": None}, {"kind": "script"}, {"kind": ["text"]}])
def test_what_is_no_block(block: Any) -> None:
    [fault] = faults(block)
    assert fault.startswith("sections/0/blocks/0: a block has a kind, one of text, facts, ")


@pytest.mark.parametrize(
    "sections", [None, {}, "x", [None], [{"title": "x"}], [{"blocks": []}], [{"title": 5, "blocks": 5}]]
)
def test_what_are_no_sections(sections: Any) -> None:
    with pytest.raises(Faulty):
        checked(sections)


def test_at_most_so_many() -> None:
    for many in ([{"title": "", "blocks": []}] * 501, [{"title": "", "blocks": [{"kind": "fold"}] * 2600}] * 2):
        with pytest.raises(Faulty):
            checked(many)


@pytest.mark.parametrize("page", TRUE_SCALE_MM)
def test_true_drawings_fit_their_paper(page: str) -> None:
    wide, high = TRUE_SCALE_MM[page]
    checked([{"title": "", "blocks": [drawing("", wide, high)]}], page=page)
    for size in ((wide + 0.1, 20.0), (20.0, high + 0.1)):
        assert "Cut it into tiles." in faults(drawing("", *size), page=page)[0]
        checked([{"title": "", "blocks": [drawing("", *size, true_scale=False)]}], page=page)


# ------------------------------------------------------------------------------------------------------- hostile

HOSTILE = [
    "<script>alert(1)</script>",
    '<image href="file:///etc/passwd" width="10" height="10"/>',
    '<image xmlns:xlink="http://www.w3.org/1999/xlink" xlink:href="http://evil.example/a.png" width="9" height="9"/>',
    '<use href="#a"/>',
    '<a href="javascript:alert(1)"><rect width="5" height="5"/></a>',
    '<foreignObject width="9" height="9"><b xmlns="http://www.w3.org/1999/xhtml">x</b></foreignObject>',
    "<style>@import url(http://evil.example/x.css);</style>",
    '<rect width="5" height="5" style="fill:url(http://evil.example)"/>',
    '<rect width="5" height="5" class="x"/>',
    '<rect width="5" height="5" onload="alert(1)"/>',
    '<rect width="5" height="5" fill="url(#a)"/>',
    '<rect width="5" height="5" fill="URL (http://evil.example)"/>',
    '<rect width="5" height="5" filter="url(#f)"/>',
    '<text font-family="x" xml:base="http://evil.example/">x</text>',
    '<animate attributeName="x" from="0" to="9"/>',
    '<set attributeName="href" to="javascript:alert(1)"/>',
    '<linearGradient id="a"/>',
    '<svg viewBox="0 0 1 1"><rect width="5" height="5"/></svg>',
    '<rect xmlns="http://evil.example/" width="5" height="5"/>',
    '<iframe src="http://evil.example"/>',
    '<pattern id="p"><rect width="5" height="5"/></pattern>',
    '<text font-family="a\\62">x</text>',
    "<rect width='5' height='5' data-x='1'/>",
    "<g>" * 40 + "</g>" * 40,
    "<g/>" * 20_001,
]


@pytest.mark.parametrize("svg", HOSTILE, ids=[svg[:30] for svg in HOSTILE])
def test_drawings_that_reach_for_more_are_refused(svg: str) -> None:
    found = faults(drawing(svg, 40, 10))
    assert found
    assert all(fault.startswith("sections/0/blocks/0/svg: ") for fault in found)


PLAIN = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 10"'
WHOLE = [
    f'<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/passwd">]>{PLAIN}><text>&x;</text></svg>',
    f'<!DOCTYPE svg [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]>{PLAIN}><text>&b;</text></svg>',
    f'<!DOCTYPE svg PUBLIC "x" "http://evil.example/x.dtd">{PLAIN}/>',
    f"{PLAIN}>",
    f'{PLAIN} preserveAspectRatio="none"/>',
    '<svg viewBox="0 0 40 10"/>',
    '<html xmlns="http://www.w3.org/1999/xhtml"/>',
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 11"/>',
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="5 0 40 10"/>',
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 a b"/>',
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 nan 10"/>',
    '<svg xmlns="http://www.w3.org/2000/svg"/>',
    "a tea caddy",
    "",
    " " * 500_001,
]


@pytest.mark.parametrize("svg", WHOLE, ids=[svg[:60] for svg in WHOLE])
def test_what_is_no_plain_svg_of_that_size(svg: str) -> None:
    assert faults(GOOD["drawing"] | {"svg": svg})[0].startswith("sections/0/blocks/0/svg: ")


def test_what_is_set_is_what_was_checked() -> None:
    """Written anew: comments, instructions and a size of its own do not reach the typesetter."""
    svg = (
        '<?xml version="1.0"?><?php echo 1 ?><!-- secret --><svg xmlns="http://www.w3.org/2000/svg" width="1in" '
        'height="9in" viewBox="0 0 40 10"><!-- x --><text x="1" y="5">a &amp; b</text></svg>'
    )
    [section] = checked([{"title": "", "blocks": [GOOD["drawing"] | {"svg": svg}]}])
    assert section["blocks"][0]["svg"] == (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 10"><text x="1" y="5">a &amp; b</text></svg>'
    )


# ------------------------------------------------------------------------------------------------------ anything

anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | st.sampled_from(list(GOOD)),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["kind", "text", "rows", "svg", "title", "blocks", "items"]), inner, max_size=4
        )
    ),
    max_leaves=12,
)


@given(anything)
@settings(max_examples=300, deadline=None, derandomize=True)
def test_anything_else_is_refused_with_sentences(value: Any) -> None:
    told: list[str] = []
    for sections in (value, [value], [{"title": "X", "blocks": [value]}]):
        try:
            checked(sections)
        except Faulty as fault:
            told += fault.faults or ["none"]
    assert all(each.endswith(".") for each in told)


@pytest.mark.parametrize(
    "change",
    [
        {"page": "a5"}, {"title": "a" * 301}, {"title": None}, {"kind": 5}, {"colour": "red"}, {"sections": None},
        {"page": ["a4"]}, {"number": 3}, {"changes": {}},
    ],
)  # fmt: skip
def test_documents_are_read_strictly(change: dict[str, Any]) -> None:
    with pytest.raises(Faulty):
        read_document(of_blocks(GOOD["text"]) | change)


@pytest.mark.parametrize("left_out", ["kind", "title", "subtitle", "subject", "page", "made_at", "sections"])
def test_documents_are_whole(left_out: str) -> None:
    with pytest.raises(Faulty, match=f"lacks {left_out}"):
        read_document({name: value for name, value in of_blocks(GOOD["text"]).items() if name != left_out})
