"""Conversion against published exact values, and the table of units against itself.

The inch is 25.4 mm exactly: international yard and pound agreement, 1959 [memory]. Minute, hour, day, litre
and the degree Celsius: SI Brochure, 9th edition, 2019 [memory]. Water freezes at 32 °F and boils at 212 °F
[memory]. The US gallon is 231 cubic inches and 128 fluid ounces, the imperial one 4.54609 l and 160
fluid ounces [memory]. Micrometres per pixel against pixels per inch: 25 400 µm to the inch [derived].
"""

import math
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinpool.units import KINDS, UNIT_CHOICES, UNITS, Unit, convert, convert_exactly, find_unit

PUBLISHED = [
    (1, "in", "mm", 25.4),
    (1, "ft", "mm", 304.8),
    (1, "ft", "in", 12),
    (1, "m", "mm", 1000),
    (1, "cm", "mm", 10),
    (1, "mm", "µm", 1000),
    (1, "µm", "nm", 1000),
    (1, "min", "s", 60),
    (1, "h", "s", 3600),
    (1, "d", "s", 86400),
    (1, "s", "ms", 1000),
    (1, "l", "ml", 1000),
    (128, "US fl oz", "ml", 3785.411784),
    (160, "imp fl oz", "ml", 4546.09),
    (0, "K", "degC", -273.15),
    (1, "klx", "lx", 1000),
    (32, "degF", "degC", 0),
    (212, "degF", "degC", 100),
    (-40, "degC", "degF", -40),
    (-273.15, "degC", "degF", -459.67),
    (math.pi, "rad", "deg", 180),
    (180, "deg", "rad", math.pi),
    (25.4, "µm/px", "dpi", 1000),
    (4800, "dpi", "µm/px", 5.291666666666667),
]


@pytest.mark.parametrize(("value", "source", "target", "expected"), PUBLISHED)
def test_published_values(value: float, source: str, target: str, expected: float) -> None:
    assert convert(value, source, target) == expected


@pytest.mark.parametrize("unit", UNITS.values(), ids=lambda unit: unit.symbol)
def test_factors_are_exact_but_for_the_radian(unit: Unit) -> None:
    if unit.symbol != "rad":
        assert unit.factor.denominator in {1, 5, 9, 1000, 16_000, 1_000_000, 16_000_000}


@given(data=st.data())
@settings(derandomize=True)
def test_conversion_there_and_back_is_exact(data: st.DataObject) -> None:
    source = data.draw(st.sampled_from(list(UNITS.values())))
    target = data.draw(st.sampled_from([unit for unit in UNITS.values() if unit.dimension == source.dimension]))
    value = data.draw(st.fractions(min_value=Fraction(1, 10**6), max_value=10**6))
    there = convert_exactly(value, source, target)
    assert convert_exactly(there, target, source) == value


def test_impossible_conversions() -> None:
    with pytest.raises(ValueError, match="mm measures length"):
        convert(1, "mm", "s")
    with pytest.raises(KeyError):
        convert(1, "mm", "furlong")
    with pytest.raises(ZeroDivisionError):
        convert(0, "µm/px", "dpi")
    with pytest.raises(OverflowError):
        convert(1e308, "m", "mm")
    for value in (math.inf, math.nan):
        with pytest.raises(ValueError, match="Fraction"):
            convert(value, "m", "mm")


def test_every_kind_names_units_of_one_dimension() -> None:
    for kind in KINDS.values():
        assert kind.canonical in kind.units
        assert len({UNITS[symbol].dimension for symbol in kind.units}) == 1


def test_canonical_units_are_those_of_the_contract() -> None:
    assert {name: kind.canonical for name, kind in KINDS.items()} == {
        "length": "mm",
        "angle": "deg",
        "wavelength": "nm",
        "time": "s",
        "illuminance": "lx",
        "luminance": "cd/m^2",
        "resolution": "dpi",
        "temperature": "degC",
        "volume": "ml",
        "spatial_frequency": "cycles/mm",
    }
    assert UNIT_CHOICES["wavelength"] == ("nm", "µm", "mm")


@pytest.mark.parametrize("symbol", UNITS)
def test_every_symbol_finds_its_own_unit(symbol: str) -> None:
    assert find_unit(symbol) is UNITS[symbol]


@pytest.mark.parametrize(
    ("spelling", "symbol"),
    [
        ("\u00b5m", "µm"),
        ("\u03bcm", "µm"),
        ("um", "µm"),
        ("inches", "in"),
        ("Inches", "in"),
        ("FEET", "ft"),
        ('"', "in"),
        ("″", "in"),
        ("Minutes", "min"),
        ("°", "deg"),
        ("°C", "degC"),
        ("PPI", "dpi"),
        ("cd/m²", "cd/m^2"),
        ("L", "l"),
    ],
)
def test_other_spellings(spelling: str, symbol: str) -> None:
    assert find_unit(spelling) is UNITS[symbol]


@pytest.mark.parametrize(
    "spelling", ["", " mm", "MM", "Mm", "IN", "S", "'", "inchs", "mm2", "m m", "\u212aLX", "mil", "dry_pint"]
)
def test_what_is_no_unit(spelling: str) -> None:
    assert find_unit(spelling) is None
