"""Light and time: ISO 2720's numbers, the trade's rules, test strips and tables. Marks: [read], [memory], [derived]."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optics.core.exposure import STRIP_STEPS, expose, exposure_table, plan_test_strip
from optics.core.light import (
    Light,
    ev100_from_ev,
    ev100_from_illuminance,
    ev100_from_luminance,
    ev100_from_time,
)
from optics.core.reciprocity import Law, NoFailure, PowerLaw, TableLaw

derandomised = settings(derandomize=True, deadline=None, max_examples=100)
evs = st.floats(-10, 25)
LAWS: tuple[Law, ...] = (NoFailure(), PowerLaw(1.31), TableLaw(((1, 1), (10, 15), (100, 200))))


# ----------------------------------------------------------------------------------------------------------- light


def test_iso_2720_numbers() -> None:
    # ISO 2720:1974 with K = 12.5, C = 250 [read in secondary sources]: at ISO 100 L = 2^(EV-3), E = 2.5·2^EV.
    sun = Light(15.0)
    assert sun.luminance_cd_m2 == 4096
    assert sun.illuminance_lx == 81_920
    assert ev100_from_luminance(luminance_cd_m2=4096) == 15
    assert ev100_from_illuminance(illuminance_lx=81_920) == 15
    # A dome, C 340, stands for 111 411 lx.
    assert ev100_from_illuminance(illuminance_lx=111_411, calibration_constant=340) == pytest.approx(15, abs=1e-5)


def test_dome_against_flat_receptor() -> None:
    # [derived] log₂(340/250) = 0.44 stop.
    flat, dome = (ev100_from_illuminance(illuminance_lx=32_000, calibration_constant=c) for c in (250, 340))
    assert flat - dome == pytest.approx(0.44, abs=5e-3)


def test_bright_sun_rule() -> None:
    # f/16 at 1/ISO [common practice; film data sheets print the same table] is EV 14.6439 [derived].
    for iso in (25, 100, 400):
        assert ev100_from_time(time_s=1 / iso, f_number=16, iso=iso) == pytest.approx(14.6439, abs=5e-5)


def test_definition_of_the_exposure_value() -> None:
    # EV = log₂(N²/t): f/1 for 1 s is 0, f/1.4142 for 1/2 s is 2.
    assert ev100_from_time(time_s=1, f_number=1) == 0
    assert ev100_from_time(time_s=0.5, f_number=np.sqrt(2)) == pytest.approx(2)
    assert ev100_from_ev(ev=12, iso=400) == 10
    assert ev100_from_ev(ev=12) == 12


@derandomised
@given(evs)
def test_light_keeps_its_value_on_every_scale(ev: float) -> None:
    light = Light(ev)
    assert ev100_from_illuminance(illuminance_lx=light.illuminance_lx) == pytest.approx(ev, abs=1e-9)
    assert ev100_from_luminance(luminance_cd_m2=light.luminance_cd_m2) == pytest.approx(ev, abs=1e-9)
    for f_number, iso in ((16, 100), (180, 25), (22.6, 3200)):
        time = light.time_s(f_number=f_number, exposure_index=iso)
        assert ev100_from_time(time_s=time, f_number=f_number, iso=iso) == pytest.approx(ev, abs=1e-9)
    assert ev100_from_ev(ev=ev + np.log2(4), iso=400) == pytest.approx(ev, abs=1e-9)


# ------------------------------------------------------------------------------------------------------------ time


def test_time_is_n_squared_over_light_and_index() -> None:
    # [derived] t = N²/(2^EV · EI/100): f/226 on paper of index 6 in EV 14.
    found = expose(ev100=14, f_number=226, exposure_index=6)
    assert found.indicated_time_s == pytest.approx(226**2 / (2**14 * 0.06))
    assert found.exposure_time_s == found.indicated_time_s
    assert found.reciprocity_stops == 0
    assert (found.ev100, found.flags) == (14, ())


def test_filters_and_corrections_come_before_the_law() -> None:
    law = PowerLaw(1.31)
    bare = expose(ev100=12, f_number=200, exposure_index=6, law=law)
    filtered = expose(ev100=12, f_number=200, exposure_index=6, filter_stops=2, correction_stops=-0.5, law=law)
    assert filtered.indicated_time_s == pytest.approx(bare.indicated_time_s * 2**1.5)
    assert filtered.exposure_time_s == pytest.approx(law.correct(filtered.indicated_time_s))
    assert filtered.reciprocity_stops == pytest.approx(np.log2(filtered.exposure_time_s / filtered.indicated_time_s))
    assert filtered.reciprocity_stops > bare.reciprocity_stops > 0


def test_longer_than_a_day_is_doubted() -> None:
    def codes(ev: float) -> list[str]:
        return [flag.code for flag in expose(ev100=ev, f_number=256, exposure_index=100).flags]

    # [derived] N² = 2¹⁶, so 86 400 s is EV 16 - log₂ 86 400 = -0.3987.
    assert codes(-0.398) == []
    assert codes(-0.399) == ["longer_than_a_day"]


# ---------------------------------------------------------------------------------------------------- test strips


@pytest.mark.parametrize("law", LAWS)
@derandomised
@given(indicated=st.floats(0.01, 10_000))
def test_strip_steps_are_even_in_effect(law: Law, indicated: float) -> None:
    steps = plan_test_strip(indicated_time_s=indicated, law=law)
    totals = [step.total_s for step in steps]
    assert [step.strip for step in steps] == [1, 2, 3, 4, 5]
    # What each strip has had, turned back through the law, is two thirds of a stop apart.
    effect = [float(np.log2(indicated) + step.stops) for step in steps]
    assert np.diff(effect) == pytest.approx([2 / 3] * 4)
    assert totals == pytest.approx([law.correct(2**each) for each in effect], rel=1e-9)
    assert np.cumsum([step.uncover_s for step in steps]) == pytest.approx(totals)
    assert all(step.uncover_s > 0 for step in steps)
    assert steps[2].total_s == pytest.approx(law.correct(indicated))


def test_strip_in_plain_doublings() -> None:
    steps = plan_test_strip(indicated_time_s=8, law=NoFailure(), steps=(1, -1, 0))
    assert [(s.strip, s.stops, s.uncover_s, s.total_s) for s in steps] == [(1, -1, 4, 4), (2, 0, 4, 8), (3, 1, 8, 16)]


def test_strip_of_an_exposure_is_planned_round_it() -> None:
    found = expose(ev100=12, f_number=200, exposure_index=6, law=LAWS[1])
    assert found.test_strip == plan_test_strip(indicated_time_s=found.indicated_time_s, law=LAWS[1])
    assert tuple(step.stops for step in found.test_strip) == STRIP_STEPS
    assert found.test_strip[2].total_s == pytest.approx(found.exposure_time_s)
    narrow = expose(ev100=12, f_number=200, exposure_index=6, strip_steps=(0.0, 1 / 3))
    assert len(narrow.test_strip) == 2


# ---------------------------------------------------------------------------------------------------------- tables


def test_table_runs_from_bright_to_dim() -> None:
    rows = exposure_table(f_number=226, exposure_index=6)
    assert [row.ev100 for row in rows] == list(range(16, 5, -1))
    for row in rows:
        single = expose(ev100=row.ev100, f_number=226, exposure_index=6)
        assert row.indicated_time_s == pytest.approx(single.indicated_time_s)
        assert row.exposure_time_s == pytest.approx(single.exposure_time_s)
    turned_round = exposure_table(f_number=226, exposure_index=6, ev_from=16, ev_to=6)
    assert turned_round == rows


@pytest.mark.parametrize("law", LAWS)
def test_table_agrees_with_single_exposures_under_a_law(law: Law) -> None:
    for row in exposure_table(f_number=180, exposure_index=3, law=law, ev_from=4, ev_to=15, step=0.5):
        single = expose(ev100=row.ev100, f_number=180, exposure_index=3, law=law)
        assert row.exposure_time_s == pytest.approx(single.exposure_time_s, rel=1e-9)


@pytest.mark.parametrize(
    ("ev_from", "ev_to", "step", "evs"),
    [
        (10, 12, 1, [12, 11, 10]),
        (10, 12, 0.8, [12, 11.2, 10.4]),
        (10, 10, 1, [10]),
        (10, 10.5, 1, [10.5]),
        (-1, 1, 1 / 3, [1, 2 / 3, 1 / 3, 0, -1 / 3, -2 / 3, -1]),
    ],
)
def test_table_ends_where_a_whole_step_leads(ev_from: float, ev_to: float, step: float, evs: list[float]) -> None:
    rows = exposure_table(f_number=200, exposure_index=6, ev_from=ev_from, ev_to=ev_to, step=step)
    assert [row.ev100 for row in rows] == pytest.approx(evs, abs=1e-9)
    assert all(isinstance(value, float) for row in rows for value in vars(row).values())
