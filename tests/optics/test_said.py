"""Quantities as pages say them."""

from typing import Any

import pytest
from django.template import Context, Template
from hypothesis import given
from hypothesis import strategies as st

from optics.templatetags import pinpool_said


@pytest.mark.parametrize(
    ("given_filter", "value", "said"),
    [
        ("length:'mm'", 61.0, "61.0 mm"),
        ("length:'in'", 61.0, "2.40 in"),
        ("length:'mm'", 0.35, "0.350 mm"),
        ("length:'in'", 0.35, "0.0138 in"),
        ("length", None, "–"),
        ("stops", 0.68, "+0.7 stop"),
        ("stops", -1.0, "−1 stop"),
        ("stops", 1.26, "+1.3 stops"),
        ("stops", -0.02, "0 stops"),
        ("stops", None, "–"),
        ("marked_stops", 0.68, "+⅔ stop"),
        ("marked_stops", None, "–"),
        ("seconds", 200.0, "3 min 20 s"),
        ("seconds", None, "–"),
        ("f_number", 258.7, "f/259"),
        ("f_number", None, "–"),
    ],
)
def test_a_page_says_it(given_filter: str, value: Any, said: str) -> None:
    template = Template("{% load pinpool_said %}{{ value|" + given_filter + " }}")
    assert template.render(Context({"value": value})) == said


@given(st.floats(-20, 20))
def test_stops_are_said_to_a_tenth(value: float) -> None:
    number = pinpool_said.stops(value).split(" ", maxsplit=1)[0].replace("−", "-")
    assert abs(float(number) - value) <= 0.05 + 1e-9
