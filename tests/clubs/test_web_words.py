"""Values of the API and the trail as pages word them."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clubs.web.words import Changed, changed, named, said

JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=12,
)


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (None, "–"),
        ("", "–"),
        ([], "–"),
        ({}, "–"),
        (True, "yes"),
        (False, "no"),
        (0, "0"),
        (0.350004, "0.35"),
        ({"value": 61, "unit": "mm"}, "61 mm"),
        ({"value": "61", "unit": "mm"}, "value 61, unit mm"),
        ({"plate_thickness": "0.1 mm"}, "plate thickness 0.1 mm"),
        ({"kind": "half_drum", "note": "a_b"}, "kind half drum, note a_b"),
        ([["0 mm", "30 mm"], ["5 mm", "31 mm"]], "0 mm, 30 mm; 5 mm, 31 mm"),
    ],
)
def test_a_value_is_said(value: Any, words: str) -> None:
    assert said(value) == words


@given(JSON)
def test_every_value_is_said_somehow(value: Any) -> None:
    assert said(value)


def test_a_pointer_is_named() -> None:
    assert named("/film_plane/hole_offset/x") == "film plane, hole offset, x"


def test_a_change_is_told_value_by_value() -> None:
    assert changed({"name": "Caddy"}, {"name": "Tin", "note": ""}) == [
        Changed("name", "Caddy", "Tin"),
        Changed("note", "–", "–"),
    ]
    assert changed(None, None) == []
