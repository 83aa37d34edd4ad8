"""Holes: the published rules, f-numbers, drills, and what readings of a made hole are worth."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from optics.core.camera_plan import choose_hole
from optics.core.faults import Impossible
from optics.core.hole_measurement import (
    ASSUMED_SHARE,
    HoleMeasurement,
    Reading,
    combine,
    counted,
    rank_tries,
    scanned,
)
from optics.core.hole_measurement import given as given_diameter
from optics.core.holes import (
    HOLE_RULES,
    NUMBER_DRILLS_MM,
    RECEPTORS,
    HoleRule,
    f_number,
    image_distance_mm,
    nearest_drill,
    nominal_f_number,
)
from optics.core.say import say_f_number
from pinpool.quantities import read_quantity

derandomised = settings(derandomize=True, deadline=None, max_examples=60)
RULES = {rule.name: rule for rule in HOLE_RULES}

# Sources and marks of each rule as in HOLE_RULES; the diameters follow from d = c·√(λF) [derived].
PUBLISHED = {
    # rule: (c, mm at f = 100 mm, mm at f = 70 mm), 550 nm, far subject
    "petzval_1857": (np.sqrt(2), 0.33166, 0.27749),
    "airy_match": (1.562050, 0.36633, 0.30650),
    "brightest_axis": (1.722811, 0.40403, 0.33804),
    "rayleigh_1891": (1.897367, 0.44497, 0.37229),
    "sayanagi_1967": (1.9, 0.44559, 0.37281),
    "young_1971": (2.0, 0.46904, 0.39243),
}


def codes(measurement: HoleMeasurement) -> set[str]:
    return {flag.code for flag in measurement.flags}


# ----------------------------------------------------------------------------------------------------------- rules


def test_every_rule_is_checked_here_in_rising_order() -> None:
    assert [rule.name for rule in HOLE_RULES] == list(PUBLISHED)
    assert all(rule.source for rule in HOLE_RULES)


@pytest.mark.parametrize("name", PUBLISHED)
def test_rule_gives_the_published_diameter(name: str) -> None:
    factor, at_100, at_70 = PUBLISHED[name]
    rule = RULES[name]
    assert rule.diameter_mm(focal_length_mm=100, wavelength_nm=550) == pytest.approx(at_100, abs=5e-6)
    assert rule.diameter_mm(focal_length_mm=70, wavelength_nm=550) == pytest.approx(at_70, abs=5e-6)
    assert rule.diameter_mm(focal_length_mm=1, wavelength_nm=1e6) == pytest.approx(factor, abs=5e-7)


def test_factors_follow_from_what_each_rule_asks() -> None:
    def factor(name: str) -> float:
        return RULES[name].diameter_mm(focal_length_mm=1, wavelength_nm=1e6)

    # [derived] On the axis I ∝ sin²(πN_F/2) for a flux ∝ N_F, and c = 2√N_F.
    best = minimize_scalar(lambda n: -(np.sin(np.pi * n / 2) ** 2) / n, bounds=(0.3, 1.5), options={"xatol": 1e-10})
    assert factor("brightest_axis") == pytest.approx(2 * np.sqrt(best.x), abs=1e-6)
    # [derived] The geometric blur d equals the Airy disc's 2.44 λF/d.
    assert factor("airy_match") == pytest.approx(2.44 / factor("airy_match"), rel=1e-12)
    # r² = 0.9 λF [memory]; r = 0.95 √(λF) [memory]; u = 2π r²/λF = 1.8π [read: as reported by Mielenz].
    assert (factor("rayleigh_1891") / 2) ** 2 == pytest.approx(0.9)
    assert 2 * np.pi * (factor("rayleigh_1891") / 2) ** 2 == pytest.approx(1.8 * np.pi)
    assert factor("sayanagi_1967") / 2 == pytest.approx(0.95)
    # First whole Fresnel zone, N_F = 1; best point image at u = π, N_F = 1/2 [read: Mielenz, abstract].
    assert (factor("young_1971") / 2) ** 2 == pytest.approx(1)
    assert 2 * np.pi * (factor("petzval_1857") / 2) ** 2 == pytest.approx(np.pi)


def test_near_subject_narrows_the_hole_but_not_the_f_numbers_focal_length() -> None:
    # [derived] 1/F = 1/100 + 1/300, F = 75.
    assert image_distance_mm(focal_length_mm=100, subject_distance_mm=300) == pytest.approx(75)
    assert image_distance_mm(focal_length_mm=100) == 100
    near = choose_hole(focal_length_mm=100, subject_distance_mm=300, rule="young_1971")
    assert near.chosen.diameter_mm == pytest.approx(2 * np.sqrt(550e-6 * 75))
    assert near.chosen.f_number == pytest.approx(100 / near.chosen.diameter_mm)
    assert [each.rule for each in near.rules] == list(HOLE_RULES)


def test_unknown_rule_is_refused_with_those_there_are() -> None:
    with pytest.raises(Impossible, match=r"petzval_1857.*young_1971") as refused:
        choose_hole(focal_length_mm=100, rule="guess")
    assert (refused.value.code, refused.value.field) == ("unknown_rule", "rule")


@derandomised
@given(st.sampled_from(HOLE_RULES), st.floats(1, 5000), st.floats(300, 900), st.floats(0.1, 10))
def test_diameter_goes_with_the_root(rule: HoleRule, focal_length: float, wavelength: float, k: float) -> None:
    diameter = rule.diameter_mm
    base = diameter(focal_length_mm=focal_length, wavelength_nm=wavelength)
    assert diameter(focal_length_mm=k * focal_length, wavelength_nm=wavelength) == pytest.approx(np.sqrt(k) * base)
    assert diameter(focal_length_mm=focal_length, wavelength_nm=k * wavelength) == pytest.approx(np.sqrt(k) * base)
    mirrored = diameter(focal_length_mm=k, wavelength_nm=wavelength, subject_distance_mm=focal_length)
    assert mirrored == pytest.approx(
        diameter(focal_length_mm=focal_length, wavelength_nm=wavelength, subject_distance_mm=k)
    )


def test_receptors_stand_within_what_they_see() -> None:
    # Design judgement, within the ranges general encyclopedias give [read].
    ranges = {
        "graded_paper": (440, 450),
        "variable_contrast_paper": (480, 520),
        "ortho_film": (480, 520),
        "pan_film": (550, 550),
    }
    assert {receptor.name for receptor in RECEPTORS} == set(ranges)
    for receptor in RECEPTORS:
        low, high = ranges[receptor.name]
        assert low <= receptor.wavelength_nm <= high
        assert receptor.band_nm[0] < receptor.wavelength_nm < receptor.band_nm[1]


# ---------------------------------------------------------------------------------------------------------- drills


def test_number_drills() -> None:
    # ASME B94.11M [read].
    for number, diameter in ((80, 0.3429), (77, 0.4572), (75, 0.5334), (70, 0.7112), (65, 0.8890), (60, 1.0160)):
        assert NUMBER_DRILLS_MM[number] == diameter
    for number, diameter in NUMBER_DRILLS_MM.items():
        assert nearest_drill(diameter) == (number, diameter)
    assert nearest_drill(0.1)[0] == 80
    assert nearest_drill(5)[0] == 60


@derandomised
@given(st.floats(0.05, 3))
def test_nearest_drill_is_nearest_by_ratio(diameter: float) -> None:
    _, found = nearest_drill(diameter)
    ratios = [max(drill / diameter, diameter / drill) for drill in NUMBER_DRILLS_MM.values()]
    assert max(found / diameter, diameter / found) == pytest.approx(min(ratios), rel=1e-12)


# -------------------------------------------------------------------------------------------------------- f-numbers


def test_seventy_millimetres_and_a_third_of_one_make_f_226() -> None:
    # Common practice, no source.
    found = f_number(focal_length_mm=70, diameter_mm=0.31)
    assert found.f_number == pytest.approx(70 / 0.31)
    assert say_f_number(found.f_number) == "f/226"


def test_f_number_uncertainty_agrees_with_random_draws() -> None:
    # First order, JCGM 100:2008 §5.1.2 [memory].
    found = f_number(focal_length_mm=70, diameter_mm=0.31, diameter_uncertainty_mm=0.006)
    drawn = 70 / np.random.default_rng(1).normal(0.31, 0.006, 200_000)
    assert found.f_number_uncertainty == pytest.approx(drawn.std(), rel=0.01)
    assert found.uncertainty_stops == pytest.approx((2 * np.log2(drawn)).std(), rel=0.01)
    assert f_number(focal_length_mm=70, diameter_mm=0.31).uncertainty_stops == 0


def test_stops_from_f22_count_from_the_exact_power() -> None:
    # [derived] The scale's 22 is √2⁹ = 22.627; positive = more light.
    assert f_number(focal_length_mm=np.sqrt(2) ** 9, diameter_mm=1).stops_from_f22 == pytest.approx(0, abs=1e-12)
    assert f_number(focal_length_mm=np.sqrt(2) ** 15, diameter_mm=1).stops_from_f22 == pytest.approx(-6)
    assert f_number(focal_length_mm=16, diameter_mm=1).stops_from_f22 == pytest.approx(1)


def test_nominal_scale_stays_near_the_exact_one() -> None:
    # [derived] f/11 and f/22 are 0.081 stop off; one mark alone, f/1.2, is off by more than 0.1.
    def off(nominal: float) -> float:
        exact = 2 ** (round(6 * np.log2(nominal)) / 6)
        return abs(2 * np.log2(nominal / exact))

    scale = [nominal_f_number(2 ** (third / 6)) for third in range(40)]
    assert len(set(scale)) == 40
    assert sorted(scale) == scale
    assert [mark for mark in scale if off(mark) > 0.1] == [1.2]
    assert off(11) == off(22) == pytest.approx(0.081, abs=5e-4)
    assert {1, 1.4, 2, 2.8, 4, 5.6, 8, 11, 16, 22, 32, 45, 64, 90} < set(scale)


@derandomised
@given(st.floats(0.3, 5000))
def test_nominal_f_number_is_within_a_third_of_a_stop(n: float) -> None:
    assert abs(2 * np.log2(nominal_f_number(n) / n)) < 1 / 6 + 0.15
    if n > 95:
        assert nominal_f_number(n) == pytest.approx(2 ** (round(6 * np.log2(n)) / 6), rel=5e-3)


# -------------------------------------------------------------------------------------------------- one reading


def test_counting_widths_against_a_scale() -> None:
    # Common practice, no source: 3.5 widths in a millimetre.
    reading = counted(holes_across=3.5, span_mm=1)
    assert round(reading.diameter_mm, 2) == 0.29
    assert reading.uncertainty_mm == pytest.approx(0.25 / 3.5 * reading.diameter_mm)
    # Twice the span and the count: the same hole, known twice as well.
    twice = counted(holes_across=7, span_mm=2)
    assert twice.diameter_mm == reading.diameter_mm
    assert twice.uncertainty_mm == pytest.approx(reading.uncertainty_mm / 2)
    drawn = 1 / np.random.default_rng(2).normal(10, 0.25, 100_000)
    assert counted(holes_across=10, span_mm=1).uncertainty_mm == pytest.approx(drawn.std(), rel=0.01)


def test_plate_of_two_thousandths_of_an_inch() -> None:
    # Common practice, no source.
    assert round(read_quantity("0.002 in", "length").value, 3) == 0.051


def test_scanning_a_hole() -> None:
    # [derived] 64 pixels at 4800 to the inch; two edges, each somewhere within a pixel (JCGM 100:2008 §4.3.7 [memory]).
    reading = scanned(pixels=64, resolution_dpi=4800)
    assert reading.diameter_mm == pytest.approx(64 * 25.4 / 4800)
    edges = np.random.default_rng(4).uniform(-0.5, 0.5, (2, 200_000))
    assert reading.uncertainty_mm == pytest.approx((edges[1] - edges[0]).std() * 25.4 / 4800, rel=0.01)


def test_bare_diameter_is_given_five_per_cent_and_says_so() -> None:
    assert combine([given_diameter(diameter_mm=0.3)]) == combine([Reading(0.3, 0.015, assumed=True)])
    assert codes(combine([given_diameter(diameter_mm=0.3)])) == {"uncertainty_assumed"}
    assert ASSUMED_SHARE == 0.05
    assert codes(combine([given_diameter(diameter_mm=0.3, uncertainty_mm=0.01)])) == set()


# ------------------------------------------------------------------------------------------------ several readings


def drawn_diameters(readings: list[Reading]) -> np.ndarray:
    """What pooling gives when each reading is drawn afresh about the value given."""
    rng = np.random.default_rng(5)
    return np.array(
        [
            combine(
                [Reading(rng.normal(r.diameter_mm, r.uncertainty_mm), r.uncertainty_mm, r.direction) for r in readings]
            ).diameter_mm
            for _ in range(4000)
        ]
    )


@pytest.mark.parametrize(
    "readings",
    [
        [Reading(0.3, 0.01)],
        [Reading(0.3, 0.01), Reading(0.3, 0.02), Reading(0.3, 0.02)],
        [Reading(0.3, 0.01, "across"), Reading(0.27, 0.015, "down")],
        [Reading(0.3, 0.01, "across"), Reading(0.3, 0.01, "across"), Reading(0.28, 0.02, "down")],
        [Reading(0.3, 0.01, "a"), Reading(0.28, 0.01, "b"), Reading(0.29, 0.01, "c")],
    ],
)
def test_pooled_uncertainty_agrees_with_random_draws(readings: list[Reading]) -> None:
    found, drawn = combine(readings), drawn_diameters(readings)
    assert drawn.mean() == pytest.approx(found.diameter_mm, rel=2e-3)
    assert drawn.std() == pytest.approx(found.uncertainty_mm, rel=0.05)


def test_readings_that_scatter_more_than_they_promise() -> None:
    # Birge ratio, R. T. Birge, Phys. Rev. 40, 207 (1932) [memory]: √(Σ w (d - mean)²/(n - 1)), here 5.
    sizes = np.array([0.25, 0.30, 0.35])
    found = combine([Reading(size, 0.01) for size in sizes])
    assert found.diameter_mm == pytest.approx(0.3)
    assert found.uncertainty_mm == pytest.approx(0.01 / np.sqrt(3) * 5)
    assert found.uncertainty_mm == pytest.approx(sizes.std(ddof=1) / np.sqrt(3))
    close = combine([Reading(size, 0.01) for size in (0.299, 0.3, 0.301)])
    assert close.uncertainty_mm == pytest.approx(0.01 / np.sqrt(3))


def test_better_readings_count_for_more() -> None:
    found = combine([Reading(0.30, 0.01), Reading(0.33, 0.02)])
    assert found.diameter_mm == pytest.approx((4 * 0.30 + 0.33) / 5)


def test_two_ways_across_make_the_hole_of_equal_area() -> None:
    # [derived] An ellipse d₁ × d₂ has the area of a circle √(d₁ d₂) across.
    found = combine([Reading(0.25, 0.005, "across"), Reading(0.36, 0.005, "down")])
    assert found.diameter_mm == pytest.approx(0.3)
    assert found.roundness_share == pytest.approx(0.25 / 0.36)
    assert codes(found) == {"hole_far_from_round"}
    assert "69%" in found.flags[0].text
    assert combine([Reading(0.25, 0.005), Reading(0.36, 0.005)]).roundness_share is None


def test_readings_said_to_be_exact() -> None:
    assert combine([Reading(0.3, 0)]).uncertainty_mm == 0
    found = combine([Reading(0.29, 0), Reading(0.31, 0), Reading(0.5, 0.1)])
    assert found.diameter_mm == pytest.approx(0.3)
    assert found.uncertainty_mm == pytest.approx(0.01)


def test_coarse_measurement_says_what_it_costs() -> None:
    found = combine([counted(holes_across=2, span_mm=0.6)])
    assert codes(found) == {"measurement_coarse"}
    # [derived] u(d)/d = 0.125 is (2/ln 2)·0.125 = 0.36 stop.
    assert "0.4 stop" in found.flags[0].text
    assert codes(combine([counted(holes_across=2.5, span_mm=0.75)])) == set()


def test_no_readings_no_hole() -> None:
    with pytest.raises(Impossible) as refused:
        combine([])
    assert (refused.value.code, refused.value.field) == ("no_readings", "readings")


@derandomised
@given(st.lists(st.tuples(st.floats(0.1, 1), st.floats(0.001, 0.05), st.sampled_from(["", "a", "b"])), min_size=1))
def test_pooling_in_any_order_and_any_unit(values: list[tuple[float, float, str]]) -> None:
    readings = [Reading(*value) for value in values]
    found, other_way = combine(readings), combine(readings[::-1])
    assert found.diameter_mm == pytest.approx(other_way.diameter_mm)
    assert found.uncertainty_mm == pytest.approx(other_way.uncertainty_mm)
    sizes = [r.diameter_mm for r in readings]
    assert min(sizes) * (1 - 1e-12) <= found.diameter_mm <= max(sizes) * (1 + 1e-12)
    tenfold = combine([Reading(10 * d, 10 * u, way) for d, u, way in values])
    assert tenfold.diameter_mm == pytest.approx(10 * found.diameter_mm)
    assert tenfold.uncertainty_mm == pytest.approx(10 * found.uncertainty_mm)


# --------------------------------------------------------------------------------------------------------- ranking


def test_tries_are_ranked_by_stops_from_the_target_and_roundness() -> None:
    def hole(diameter: float, roundness: float | None = None) -> HoleMeasurement:
        return HoleMeasurement(diameter, 0.01, roundness, ())

    tries = [
        ("wide", hole(0.33)),
        ("narrow", hole(0.28)),
        ("spot on but a slit", hole(0.30, 0.7)),
        ("near, round", hole(0.31, 0.98)),
    ]
    ranked = rank_tries(tries, target_mm=0.30)
    assert [each.label for each in ranked] == ["near, round", "narrow", "wide", "spot on but a slit"]
    assert ranked[2].off_target_stops == pytest.approx(2 * np.log2(1.1))
    assert ranked[1].off_target_stops < 0
    assert ranked[0].measurement is tries[3][1]
