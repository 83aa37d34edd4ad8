"""Reciprocity laws against film makers' data sheets and their own promises. Marks: [read], [memory], [derived]."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optics.core.faults import Impossible
from optics.core.reciprocity import STEEPEST, Law, NoFailure, PowerLaw, TableLaw, fit_power_law

derandomised = settings(derandomize=True, deadline=None, max_examples=100)
times = st.floats(1e-4, 1e7)

# Kodak F-4016 (2007) [read]: T-MAX 100 and 400, indicated and corrected seconds.
T_MAX_100 = ((1.0, 1.0), (10.0, 15.0), (100.0, 200.0))
T_MAX_400 = ((1.0, 1.0), (10.0, 15.0), (100.0, 300.0))
# Rollei RPX 25 [read].
RPX_25 = ((1.0, 1.0), (2.0, 3.0), (10.0, 20.0), (20.0, 50.0), (50.0, 180.0))
TABLES = (T_MAX_100, T_MAX_400, RPX_25)


@st.composite
def tables(draw: st.DrawFn) -> TableLaw:
    """Any table with both columns rising, no time shortened and none steeper than the law follows."""
    steps = draw(st.lists(st.tuples(st.floats(0.05, 3), st.floats(0.05, 0.99 * STEEPEST)), min_size=1, max_size=8))
    indicated = np.cumsum([draw(st.floats(-3, 3)), *(step for step, _ in steps)])
    corrected = np.cumsum([indicated[0] + draw(st.floats(0, 2)), *(step * slope for step, slope in steps)])
    rows = np.exp(np.column_stack([indicated, np.maximum(corrected, indicated)]))
    return TableLaw(tuple((float(a), float(b)) for a, b in rows))


laws = st.one_of(
    st.just(NoFailure()),
    st.builds(PowerLaw, st.floats(1, 3), st.floats(0.01, 100)),
    tables(),
)


# ------------------------------------------------------------------------------------------------ makers' figures


def test_ilford_hp5_plus() -> None:
    # Ilford, "Reciprocity failure" technical information [read]: t_c = t_m^1.31 above 1 s, 10 s → 20.4 s.
    assert PowerLaw(1.31).correct(10) == pytest.approx(20.4, abs=0.05)
    assert PowerLaw(1.31).correct(0.5) == 0.5


@pytest.mark.parametrize("rows", TABLES)
def test_table_gives_back_its_own_rows(rows: tuple[tuple[float, float], ...]) -> None:
    indicated, corrected = np.array(rows).T
    assert TableLaw(rows).correct(indicated) == pytest.approx(corrected, rel=1e-12)


def test_fit_to_rollei_rpx_25() -> None:
    # Rollei RPX 25 [read]; least squares of log on log gives these two figures [derived].
    start, exponent = fit_power_law(RPX_25)
    assert start == pytest.approx(1.0728842567881807, rel=1e-12)
    assert start * 10**exponent == pytest.approx(21.273079470850035, rel=1e-12)


def test_fit_finds_a_power_law_again() -> None:
    rows = [(t, 1.7 * t**1.3) for t in (1, 3, 10, 40)]
    assert fit_power_law(rows) == pytest.approx((1.7, 1.3))


# ------------------------------------------------------------------------------------------------------ properties


@derandomised
@given(laws, st.lists(times, min_size=2, max_size=20))
def test_longer_indicated_is_longer_corrected_and_never_shortened(law: Law, indicated: list[float]) -> None:
    corrected = np.asarray(law.correct(np.sort(indicated)))
    assert (np.diff(corrected) >= 0).all()
    assert (np.diff(corrected) > 0)[np.diff(np.sort(indicated)) > 1e-9 * np.sort(indicated)[1:]].all()


@derandomised
@given(laws, st.lists(times, min_size=1, max_size=6))
def test_one_time_or_many_at_once(law: Law, indicated: list[float]) -> None:
    together = law.correct(np.array(indicated))
    alone = [law.correct(each) for each in indicated]
    assert all(np.ndim(each) == 0 for each in alone)
    assert np.array(together) == pytest.approx(np.array(alone), rel=1e-12)
    grid = np.array(indicated).reshape(1, -1, 1)
    assert np.shape(law.correct(grid)) == grid.shape


@derandomised
@given(st.floats(1, 3), st.floats(0.01, 100), times)
def test_power_law(exponent: float, start: float, indicated: float) -> None:
    corrected = PowerLaw(exponent, start).correct(indicated)
    if indicated <= start:
        assert corrected == indicated
    else:
        assert corrected >= indicated * (1 - 1e-12)
        assert np.log(corrected / start) == pytest.approx(exponent * np.log(indicated / start), rel=1e-9, abs=1e-9)


@derandomised
@given(st.floats(0.01, 100), st.floats(0.01, 10))
def test_schwarzschild(intensity: float, time: float) -> None:
    # K. Schwarzschild, Astrophys. J. 11, 89 (1900) [read as quoted]: equal blackening for equal I·t^p, p = 0.86.
    law = PowerLaw(1 / 0.86)
    needed = law.correct(max(1, time / intensity))
    assert needed**0.86 == pytest.approx(max(1, time / intensity))


@derandomised
@given(tables(), st.floats(0, 6), st.floats(0.1, 3))
def test_table_is_straight_in_log_log_past_its_last_row(law: TableLaw, past: float, step: float) -> None:
    x = np.log(law.rows[-1][0]) + past + np.array([0, step, 2 * step])
    y = np.log(law.correct(np.exp(x)))
    (i1, c1), (i2, c2) = np.log(law.rows[-2:])
    assert np.diff(y) == pytest.approx(np.full(2, step * (c2 - c1) / (i2 - i1)), rel=1e-7, abs=1e-9)


@derandomised
@given(tables(), st.floats(0.001, 1))
def test_table_keeps_its_first_factor_below_its_first_row(law: TableLaw, share: float) -> None:
    indicated, corrected = law.rows[0]
    assert law.correct(share * indicated) == pytest.approx(share * corrected)


@derandomised
@given(tables())
def test_table_joins_its_pieces(law: TableLaw) -> None:
    for indicated, corrected in law.rows:
        for nudge in (1 - 1e-9, 1, 1 + 1e-9):
            assert law.correct(indicated * nudge) == pytest.approx(corrected, rel=1e-6)


def test_table_stays_between_its_rows() -> None:
    law = TableLaw(RPX_25)
    for (i1, c1), (i2, c2) in pairwise(RPX_25):
        between = np.asarray(law.correct(np.geomspace(i1, i2, 50)))
        assert (between >= c1 * (1 - 1e-12)).all()
        assert (between <= c2 * (1 + 1e-12)).all()


# -------------------------------------------------------------------------------------------------------- refusals


@pytest.mark.parametrize(
    ("make", "code", "field"),
    [
        (lambda: PowerLaw(0.99), "exponent_range", "exponent"),
        (lambda: PowerLaw(3.01), "exponent_range", "exponent"),
        (lambda: PowerLaw(np.nan), "exponent_range", "exponent"),
        (lambda: PowerLaw(1.3, 0), "not_positive", "from"),
        (lambda: TableLaw(((1, 1),)), "table_rows", "rows"),
        (lambda: TableLaw(((1, 1), (0, 2))), "table_rows", "rows"),
        (lambda: TableLaw(((1, 1), (10, np.inf))), "table_rows", "rows"),
        (lambda: TableLaw(((1, 1), (10, 15), (10, 20))), "table_order", "rows"),
        (lambda: TableLaw(((1, 2), (10, 15), (20, 15))), "table_order", "rows"),
        (lambda: TableLaw(((1, 1), (10, 9))), "table_shortens", "rows"),
        (lambda: TableLaw(((1, 1), (10, 1.1e5))), "table_steep", "rows"),
        (lambda: TableLaw(((1, 1), (1 + 1e-8, 1 + 1e-8))), "table_steep", "rows"),
    ],
)
def test_what_is_no_law_is_refused(make: object, code: str, field: str) -> None:
    assert callable(make)
    with pytest.raises(Impossible) as refused:
        make()
    assert (refused.value.code, refused.value.field) == (code, field)
