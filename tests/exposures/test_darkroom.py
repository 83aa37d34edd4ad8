"""Baths and queues: closed forms against a simulation step by step, capacities against published counts."""

import math
from collections import deque
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exposures.darkroom import (
    CAPACITY_M2_PER_L,
    STEPS_S,
    Span,
    Step,
    baths_for,
    queue_for,
    read_dilution,
    say_span,
    steps_of,
)

# ---------------------------------------------------------------------------------------------------- the queue


def simulated(times: list[int], negatives: int, stations: int, together: int, one_vessel: bool) -> int:
    """Seconds, one after the other, until the last negative is out: no closed form, only who is where.

    A load moves on once its time in a bath is over and the next bath is empty.
    """
    full, rest = divmod(negatives, together)
    waiting = deque([together] * full + [rest] * bool(rest))
    lines: list[list[list[int] | None]] = [[None] * len(times) for _ in range(stations)]  # bath: [number, left]
    done = second = 0
    while True:
        for line in lines:
            done += moved_on(line, times)
            free = all(bath is None for bath in line) if one_vessel else line[0] is None
            if waiting and free:
                line[0] = [waiting.popleft(), times[0]]
        if done == negatives:
            return second
        for load in (load for line in lines for load in line if load is not None):
            load[1] -= 1
        second += 1


def moved_on(line: list[list[int] | None], times: list[int]) -> int:
    """Move every load of a line whose time is over, the last first; returns how many negatives came out."""
    out = 0
    for bath in reversed(range(len(times))):
        load = line[bath]
        if load is None or load[1] > 0:
            continue
        if bath == len(times) - 1:
            out, line[bath] = load[0], None
        elif line[bath + 1] is None:
            line[bath + 1], line[bath] = [load[0], times[bath + 1]], None
    return out


@given(
    times=st.lists(st.integers(1, 9), min_size=1, max_size=5),
    negatives=st.integers(1, 30),
    stations=st.integers(1, 4),
    together=st.integers(1, 3),
    one_vessel=st.booleans(),
)
def test_the_queue_is_as_long_as_it_takes(
    times: list[int], negatives: int, stations: int, together: int, one_vessel: bool
) -> None:
    steps = [Step("", Span(float(time), 2.0 * time, ""), 0.0) for time in times]
    found = queue_for(steps, negatives=negatives, stations=stations, together=together, one_vessel=one_vessel)
    for end, factor in enumerate((1, 2)):
        longer = [factor * time for time in times]
        assert found.total_s[end] == simulated(longer, negatives, stations, together, one_vessel)
        assert found.each_s[end] == sum(longer)


def test_a_step_takes_its_draining_too() -> None:
    """Developer 90 + 15 s, rinse 10, stop 5 + 15, rinse 10, fixer 60 + 15: 220 s, and one more every 105 s."""
    found = queue_for(steps_of({"time_s": 90.0}), negatives=48, stations=2)
    assert (found.loads_per_station, found.each_s[0], found.every_s[0]) == (24, 220.0, 105.0)
    assert found.total_s[0] == 220.0 + 23 * 105.0
    assert queue_for(steps_of(None), negatives=0, stations=2).total_s == (0.0, 0.0)


# ---------------------------------------------------------------------------------------------------- the baths


def test_a_litre_of_fixer_takes_twenty_sheets() -> None:
    """20 sheets of 8 × 10 in a litre: Anchell, The Darkroom Cookbook, 3rd ed. (2008), p. 108 [read]."""
    [_, _, fixer] = baths_for({"volume_ml": 1000.0}, negatives=41, negative_m2=0.2032 * 0.254)
    assert (fixer.name, fixer.good_for, fixer.fillings, fixer.total_ml) == ("fix", 20, 3, 3000.0)
    assert CAPACITY_M2_PER_L["fix"].high / CAPACITY_M2_PER_L["fix"].low == pytest.approx(25 / 20)


@given(
    volume=st.floats(50, 5000),
    negatives=st.integers(0, 2000),
    area=st.floats(1e-4, 0.3),
    stations=st.integers(1, 9),
    capacity=st.floats(0.05, 5) | st.none(),
)
def test_every_negative_finds_a_bath_that_is_not_spent(
    volume: float, negatives: int, area: float, stations: int, capacity: float | None
) -> None:
    for bath in baths_for(
        {"volume_ml": volume, "dilution": "1+9"},
        negatives=negatives, negative_m2=area, stations=stations, capacity_m2_per_l=capacity,
    ):  # fmt: skip
        limit = capacity or CAPACITY_M2_PER_L[bath.name].low
        assert bath.good_for * bath.fillings * stations >= negatives
        assert bath.good_for == 1 or bath.good_for * area <= limit * volume / 1000 * (1 + 1e-9)
        assert bath.total_ml == pytest.approx(volume * stations * bath.fillings)
        for name, concentrate, water in bath.mixes:
            parts = read_dilution(name)
            assert parts is not None
            assert concentrate + water == pytest.approx(bath.total_ml)
            assert concentrate * parts[1] == pytest.approx(water * parts[0])


@pytest.mark.parametrize(
    ("text", "parts"),
    [("1+9", (1.0, 9.0)), (" 1 + 14 ", (1.0, 14.0)), ("2.5+0", (2.5, 0.0)), ("1:9", None), ("0+9", None), ("", None),
     (None, None), ("1+", None), ("stock", None), ("1+9+5", None), ("1+9; drop", None), ("9" * 50 + "+1", None)],
)  # fmt: skip
def test_only_a_plain_dilution_is_reckoned_with(text: str | None, parts: Any) -> None:
    assert read_dilution(text) == parts


def test_what_is_not_told_is_a_range_with_its_source() -> None:
    told = steps_of({"time_s": 75.0})
    assert [step.name for step in told] == ["develop", "rinse", "stop", "rinse", "fix"]
    assert told[0].said == "1 min 15 s"
    assert [step.said for step in steps_of(None)[::2]] == ["1 min to 2 min", "5 s to 1 min", "1 min to 2 min"]
    for span in (*STEPS_S.values(), *CAPACITY_M2_PER_L.values()):
        assert 0 < span.low <= span.high < math.inf
        assert any(mark in span.source for mark in ("[read]", "[memory]", "no source"))
    assert say_span(Span(30.0, 30.0, "")) == "30 s"
