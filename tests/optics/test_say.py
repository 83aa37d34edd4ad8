"""Times, f-numbers and stops in words: read back by the service's own grammar, and in examples."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optics.core.say import say_f_number, say_in, say_source, say_stops, say_time
from pinpool.quantities import read_quantity

derandomised = settings(derandomize=True, deadline=None, max_examples=300)


def read_back(time_s: float) -> float:
    return read_quantity(say_time(time_s), "time").value


@pytest.mark.parametrize(
    ("time_s", "text"),
    [
        (0, "0 s"),
        (6.1e-8, "0.000061 ms"),
        (0.0001, "0.1 ms"),
        (1 / 8000, "1/8000 s"),
        (1 / 60, "1/60 s"),
        (1 / 64, "1/60 s"),
        (0.3, "1/3 s"),
        (0.5, "0.5 s"),
        (0.97, "0.95 s"),
        (0.98, "1 s"),
        (2.5, "2.5 s"),
        (9.96, "10 s"),
        (59.7, "1 min"),
        (75, "1 min 15 s"),
        (119, "2 min"),
        (200, "3 min 20 s"),
        (599, "10 min"),
        (3600, "1 h"),
        (3907, "1 h 5 min"),
        (86_399, "1 d"),
        (51 * 3600, "2 d 3 h"),
        (1e8, "1157 d 10 h"),
    ],
)
def test_times_in_words(time_s: float, text: str) -> None:
    assert say_time(time_s) == text


@pytest.mark.parametrize(
    ("source", "said"),
    [
        ("a sheet, p. 4 [read]; 2 min [memory]", "a sheet, p. 4; 2 min (from memory)"),
        ("doi 10.1 [read: abstract]", "doi 10.1"),
        ("max sin²x/x [derived]", "max sin²x/x (derived)"),
        ("common practice, no source", "common practice, no source"),
    ],
)
def test_sources_in_words(source: str, said: str) -> None:
    assert say_source(source) == said


@derandomised
@given(st.floats(-4, 8))
def test_time_is_read_back_as_near_as_promised(exponent: float) -> None:
    time = 10**exponent
    if time >= 2:
        tolerance = 0.03
    elif time >= 0.37:
        tolerance = 0.07
    else:
        tolerance = 2**0.25 - 1
    assert read_back(time) == pytest.approx(time, rel=tolerance)


@derandomised
@given(st.floats(1e-7, 1e8), st.floats(1, 3))
def test_longer_time_is_never_said_shorter(time: float, ratio: float) -> None:
    assert read_back(time * ratio) >= read_back(time)


@derandomised
@given(st.floats(-12, -4))
def test_shortest_times_are_read_back_too(exponent: float) -> None:
    assert read_back(10**exponent) == pytest.approx(10**exponent, rel=0.2)


@pytest.mark.parametrize(
    ("n", "text"),
    [(225.8, "f/226"), (22.627, "f/23"), (9.96, "f/10"), (9.94, "f/9.9"), (8, "f/8"), (5.66, "f/5.7"), (1.41, "f/1.4")],
)
def test_f_numbers_in_words(n: float, text: str) -> None:
    assert say_f_number(n) == text


@pytest.mark.parametrize(
    ("stops", "text"),
    [
        (0, "0 stops"),
        (0.1, "0 stops"),
        (-0.1, "0 stops"),
        (1 / 3, "+⅓ stop"),
        (-0.5, "−½ stop"),
        (0.65, "+⅔ stop"),
        (0.9, "+1 stop"),
        (1, "+1 stop"),
        (1.12, "+1 stop"),
        (-1.16, "−1 stop"),
        (1.2, "+1⅓ stops"),
        (-2, "−2 stops"),
        (2.48, "+2½ stops"),
        (9.95, "+10 stops"),
    ],
)
def test_stops_in_words(stops: float, text: str) -> None:
    assert say_stops(stops) == text


@derandomised
@given(st.floats(-30, 30))
def test_stops_in_words_are_near(stops: float) -> None:
    text = say_stops(stops)
    number, word = text.split(" ")
    marks = {"⅓": 1 / 3, "½": 1 / 2, "⅔": 2 / 3}
    whole = number.strip("+−⅓½⅔") or "0"
    said = float(whole) + marks.get(number[-1], 0.0)
    assert abs(said - abs(stops)) <= 1 / 6 + 1e-9
    assert number.startswith("−" if stops < 0 else "+") or said == 0
    assert word == ("stop" if 0 < said <= 1 else "stops")


def test_numbers_of_every_kind_are_said() -> None:
    assert say_time(np.float64(2.5)) == say_time(2.5) == "2.5 s"
    assert say_stops(np.float64(-0.5)) == "−½ stop"
    assert say_f_number(180) == "f/180"


@pytest.mark.parametrize(
    ("text", "in_inches"),
    [
        ("A strip 254.0 mm long, of 127.0 × 101.6 mm.", "A strip 10.00 in long, of 5.00 × 4.00 in."),
        ("The hole, 0.254 mm, is known to ±0.003 mm.", "The hole, 0.0100 in, is known to ±0.00012 in."),
        ("A wall 0.3 mm thick; 2 mm beside it; 0 mm.", "A wall 0.012 in thick; 0.079 in beside it; 0.00 in."),
        ("9" * 400 + " mm", "9" * 400 + " mm"),  # no length of ours
        ("“Film 120 mm” is 25.4 mm wide, not “5 mm”.", "“Film 120 mm” is 1.00 in wide, not “5 mm”."),
        (
            "Contrast of 2.54 cycles per mm at 550 nm, 25.4 mmol.",
            "Contrast of 2.54 cycles per mm at 550 nm, 25.4 mmol.",
        ),
    ],
)
def test_lengths_in_a_sentence(text: str, in_inches: str) -> None:
    """An inch is 25.4 mm exactly [ISO 31-1, from memory]."""
    assert say_in(text, "in") == in_inches
    assert say_in(text, "mm") == text
