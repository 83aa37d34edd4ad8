"""Cells add and subtract whichever way, and a design takes more logs into its tables, as if all were summed at once."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from exposures.reciprocity.cells import COLUMNS, FEW, KEYS, Cells, Keys, Logs, levels_of
from exposures.reciprocity.design import TABLES, design
from optics.core.faults import Impossible
from tests.exposures.reciprocity.made import club


def part(logs: Logs, chosen: Any) -> Logs:
    return Logs(*(getattr(logs, name)[chosen] for name in (*KEYS, "u", "z")))


def same(one: Cells, two: Cells) -> None:
    for name in COLUMNS:
        column, other = getattr(one, name), getattr(two, name)
        if name in KEYS:
            assert column.tolist() == other.tolist()
            levels, place = one.levels(name)
            assert levels[place].tolist() == column.tolist()
        else:
            assert column == pytest.approx(other, abs=1e-9)


@pytest.mark.parametrize("name_of", [lambda k: k, lambda k: k * 10**12, lambda k: np.char.add("paper ", k.astype(str))])
@pytest.mark.parametrize("few", [1, 40, FEW + 400])
def test_logs_added_and_taken_out_again(name_of: Callable[[Keys], Keys], few: int) -> None:
    logs = club(20, logs=1200, cameras=4, members=3).logs
    logs = replace(logs, paper=name_of(logs.paper), member=name_of(logs.member))
    old, new = Cells.from_logs(part(logs, slice(few, None))), Cells.from_logs(part(logs, slice(0, few)))
    same(old + new, Cells.from_logs(logs))
    left = (old + new) - new
    for name in ("logs", "weight", "x", "xx", "y", "xy", "yy"):
        assert getattr(left, name) == pytest.approx(getattr(old, name), abs=1e-9)


@pytest.mark.parametrize(
    "keys", [np.array([3, -2, 3, 7]), np.array([2**62, 0]), np.array(["b", "a"]), np.array([], int)]
)
def test_levels_are_sorted_and_places_lead_back(keys: Keys) -> None:
    levels, place = levels_of(keys)
    assert levels.tolist() == sorted(set(keys.tolist()))
    assert levels[place].tolist() == keys.tolist()


@pytest.mark.parametrize("size", [{}, {"papers": 60}, {"members": 90}])
def test_a_design_takes_more_logs(size: dict[str, int]) -> None:
    """Whichever factor is eliminated; families, three grades and slopes included."""
    made = club(21, **size)
    rest = part(made.logs, slice(30, None))
    known = [np.isin(getattr(made.logs, name), getattr(rest, name)) for name in KEYS]
    more = part(made.logs, np.flatnonzero(np.logical_and.reduce(known))[:20])
    once = design(Cells.from_logs(rest), families=made.families)
    twice = design(Cells.from_logs(rest) + Cells.from_logs(more), families=made.families)
    for name in TABLES:
        assert getattr(once.plus(Cells.from_logs(more)), name) == pytest.approx(getattr(twice, name), abs=1e-9)


@pytest.mark.parametrize("name", KEYS)
def test_a_design_does_not_take_what_it_does_not_know(name: str) -> None:
    made = club(21)
    strange = Cells.from_logs(replace(part(made.logs, slice(0, 1)), **{name: np.array([99])}))
    with pytest.raises(Impossible, match=name):
        design(Cells.from_logs(made.logs), families=made.families).plus(strange)
