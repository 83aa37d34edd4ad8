"""Reading quantities: the shared vectors, exact fractions as the oracle, and anything at all as a fuzz.

The factors below are written out from their definitions, apart from the table under test: the inch of 1959,
25.4 mm [memory]; the SI's minute, hour, day and litre [memory]; degree Fahrenheit from 32 and 212 [memory].
"""

import json
import math
from fractions import Fraction
from pathlib import Path
from typing import Any

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinpool.quantities import MAX_LENGTH, Quantity, QuantityError, quantity_out, read_quantity
from pinpool.units import KINDS

VECTORS = json.loads(
    (Path(__file__).parents[2] / "fixtures" / "vectors" / "quantities.json").read_text(encoding="utf-8")
)
CODES = {
    "bad_compound",
    "bad_number",
    "boolean",
    "decimal_comma",
    "empty",
    "expression",
    "missing_key",
    "not_a_number",
    "not_finite",
    "out_of_range",
    "thousands_separator",
    "too_long",
    "unit_missing",
    "unit_unknown",
    "unit_wrong_kind",
    "unknown_key",
    "wrong_type",
    "zero_denominator",
}
FACTORS = {
    "length": {
        "mm": Fraction(1),
        "cm": Fraction(10),
        "m": Fraction(1000),
        "µm": Fraction(1, 1000),
        "nm": Fraction(1, 1_000_000),
        "in": Fraction("25.4"),
        "ft": 12 * Fraction("25.4"),
    },
    "wavelength": {"nm": Fraction(1), "µm": Fraction(1000), "mm": Fraction(1_000_000)},
    "time": {
        "ms": Fraction(1, 1000),
        "s": Fraction(1),
        "min": Fraction(60),
        "h": Fraction(3600),
        "d": Fraction(86400),
    },
    "angle": {"deg": Fraction(1), "rad": Fraction(180) / Fraction("3.14159265358979323846264338327950288")},
    "illuminance": {"lx": Fraction(1), "klx": Fraction(1000)},
    "luminance": {"cd/m^2": Fraction(1)},
    "volume": {"ml": Fraction(1), "l": Fraction(1000)},
    "spatial_frequency": {"cycles/mm": Fraction(1)},
}
LINEAR = [(kind, unit) for kind, units in FACTORS.items() for unit in units]
SPACES = st.text(" \u00a0\u202f", max_size=3)
SOME_SPACE = st.text(" \u00a0\u202f", min_size=1, max_size=3)
NATURAL = st.integers(0, 99_999)
DECIMALS = st.decimals(0, 10_000, allow_nan=False, allow_infinity=False, places=6).map(lambda d: f"{d:f}")


def refusal(data: object, kind: str, **bounds: Any) -> QuantityError:
    with pytest.raises(QuantityError) as caught:
        read_quantity(data, kind, **bounds)
    assert caught.value.detail.endswith(".")
    return caught.value


# ---- the vectors


@pytest.mark.parametrize("case", VECTORS["accepted"], ids=lambda case: ascii(case["text"]))
def test_accepted(case: dict[str, Any]) -> None:
    quantity = read_quantity(case["text"], case["kind"])
    assert quantity.value == pytest.approx(case["value"], rel=1e-15, abs=0)
    assert (quantity.kind, quantity.typed) == (case["kind"], case["text"])
    assert KINDS[case["kind"]].canonical == case["unit"]


@pytest.mark.parametrize("case", VECTORS["refused"], ids=lambda case: ascii(case["text"])[:80])
def test_refused(case: dict[str, Any]) -> None:
    assert refusal(case["text"], case["kind"]).code == case["code"]


@pytest.mark.parametrize("case", VECTORS["accepted_objects"], ids=lambda case: ascii(case["object"]))
def test_accepted_objects(case: dict[str, Any]) -> None:
    quantity = read_quantity(case["object"], case["kind"])
    assert quantity.value == pytest.approx(case["value"], rel=1e-15, abs=0)
    assert quantity.typed == case["typed"]
    assert read_quantity(quantity.typed, case["kind"]).value == quantity.value


@pytest.mark.parametrize("case", VECTORS["refused_objects"], ids=lambda case: ascii(case["data"])[:80])
def test_refused_objects(case: dict[str, Any]) -> None:
    assert refusal(case["data"], case["kind"]).code == case["code"]


def test_the_vectors_show_every_code_and_every_kind() -> None:
    refused = VECTORS["refused"] + VECTORS["refused_objects"]
    accepted = VECTORS["accepted"] + VECTORS["accepted_objects"]
    assert {case["code"] for case in refused} == CODES
    assert {case["kind"] for case in accepted} == set(KINDS)


def test_no_text_of_a_person_reaches_pint(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("pint was asked")

    for name in (
        "parse_expression",
        "parse_units",
        "parse_unit_name",
        "convert",
        "Unit",
        "Quantity",
        "__call__",
    ):
        monkeypatch.setattr(pint.UnitRegistry, name, refuse)
    for name in ("UnitRegistry", "Quantity", "Unit"):
        monkeypatch.setattr(pint, name, refuse)
    for case in VECTORS["accepted"]:
        read_quantity(case["text"], case["kind"])
    for case in VECTORS["refused"]:
        refusal(case["text"], case["kind"])


# ---- exact fractions as the oracle


@given(case=st.sampled_from(LINEAR), number=DECIMALS, space=SPACES)
@settings(derandomize=True)
def test_decimals(case: tuple[str, str], number: str, space: str) -> None:
    kind, unit = case
    expected = float(Fraction(number) * FACTORS[kind][unit])
    assert read_quantity(f"{number}{space}{unit}", kind).value == expected


@given(case=st.sampled_from(LINEAR), above=NATURAL, below=st.integers(1, 99_999), whole=NATURAL, space=SOME_SPACE)
@settings(derandomize=True)
def test_fractions_and_mixed_numbers(case: tuple[str, str], above: int, below: int, whole: int, space: str) -> None:
    kind, unit = case
    share, factor = Fraction(above, below), FACTORS[kind][unit]
    assert read_quantity(f"{above}/{below} {unit}", kind).value == float(share * factor)
    mixed = f"{whole}{space}{above}/{below} {unit}"
    if share < 1:
        assert read_quantity(mixed, kind).value == float((whole + share) * factor)
    else:
        assert refusal(mixed, kind).code == "bad_number"


@given(number=DECIMALS, unit=st.sampled_from(["mm", "in"]), sign=st.sampled_from("-−"))
@settings(derandomize=True)
def test_lengths_have_negatives(number: str, unit: str, sign: str) -> None:
    assert read_quantity(f"{sign}{number} {unit}", "length").value == float(-Fraction(number) * FACTORS["length"][unit])
    assert refusal(f"{sign}{number} s", "time").code == "out_of_range"


@given(celsius=st.integers(-200, 1000))
@settings(derandomize=True)
def test_fahrenheit(celsius: int) -> None:
    fahrenheit = 32 + Fraction(celsius) * (212 - 32) / 100
    assert read_quantity(f"{float(fahrenheit)} °F", "temperature").value == celsius


@given(number=st.integers(1, 10**6))
@settings(derandomize=True)
def test_micrometres_per_pixel(number: int) -> None:
    assert read_quantity(f"{number} µm/px", "resolution").value == float(Fraction(25400, number))


@given(
    units=st.sets(st.sampled_from(["d", "h", "min", "s", "ms"]), min_size=2),
    counts=st.lists(NATURAL, min_size=5, max_size=5),
    last=DECIMALS,
    space=SPACES,
)
@settings(derandomize=True)
def test_compound_times(units: set[str], counts: list[int], last: str, space: str) -> None:
    falling = sorted(units, key=lambda unit: -FACTORS["time"][unit])
    numbers = [*map(str, counts[: len(falling) - 1]), last]
    parts = [number + unit for number, unit in zip(numbers, falling, strict=True)]
    expected = sum(Fraction(number) * FACTORS["time"][unit] for number, unit in zip(numbers, falling, strict=True))
    text = space.join(parts)
    if len(text) <= MAX_LENGTH:
        assert read_quantity(text, "time").value == float(expected)
        assert refusal(space.join(reversed(parts)), "time").code == "bad_compound"


# ---- the object form, and back out


@given(case=st.sampled_from(LINEAR), value=st.floats(0, 1e290))
@settings(derandomize=True)
def test_object_form(case: tuple[str, str], value: float) -> None:
    kind, unit = case
    quantity = read_quantity({"value": value, "unit": unit}, kind)
    assert quantity.value == float(Fraction(repr(value)) * FACTORS[kind][unit])
    assert len(quantity.typed) <= MAX_LENGTH
    if "e" not in quantity.typed.removesuffix(unit):
        assert read_quantity(quantity.typed, kind).value == quantity.value


@given(kind=st.sampled_from(list(KINDS)), value=st.floats(0, 1e300), lengths=st.sampled_from(["mm", "in"]))
@settings(derandomize=True)
def test_what_goes_out_comes_back(kind: str, value: float, lengths: Any) -> None:
    answer = json.loads(json.dumps(quantity_out(value, kind, lengths=lengths)))
    assert read_quantity(answer, kind).value == pytest.approx(value, rel=4e-16, abs=1e-320)


def test_out() -> None:
    assert quantity_out(61, "length") == {"value": 61.0, "unit": "mm"}
    assert quantity_out(25.4, "length", lengths="in") == {"value": 1.0, "unit": "in"}
    assert quantity_out(550, "wavelength", lengths="in") == {"value": 550.0, "unit": "nm"}
    assert quantity_out(1.5, "spatial_frequency", lengths="in") == {"value": 1.5, "unit": "cycles/mm"}
    for value in (math.nan, math.inf, -math.inf):
        with pytest.raises(ValueError, match="cannot be answered"):
            quantity_out(value, "length")


# ---- bounds


def test_bounds() -> None:
    assert read_quantity("1 in", "length", minimum=25.4, maximum=25.4) == Quantity(25.4, "length", "1 in")
    assert refusal("0 mm", "length", minimum=0, exclusive_minimum=True).code == "out_of_range"
    assert refusal("-1 mm", "length", minimum=0, exclusive_minimum=True).code == "out_of_range"
    assert refusal("24 mm", "length", minimum=25.4).detail == "This must be at least 25.4 mm."
    assert refusal("24 mm", "length", minimum=30, exclusive_minimum=True).detail == "This must be more than 30 mm."
    assert refusal("1 m", "length", maximum=999.5).detail == "This must be at most 999.5 mm."


def test_refusals_name_the_units_that_would_do() -> None:
    assert refusal("61", "length").detail.endswith("Units that do: mm, cm, m, µm, nm, in or ft.")
    assert refusal(61, "luminance").detail.endswith("The unit that does: cd/m^2.")


# ---- what JSON cannot hold, but a caller might


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (math.nan, "not_a_number"),
        (-math.inf, "not_finite"),
        (10**4000, "not_finite"),
        ({"value": math.nan, "unit": "mm"}, "not_a_number"),
        ({"value": math.inf, "unit": "mm"}, "not_finite"),
        ({"value": 10**4000, "unit": "mm"}, "not_finite"),
        ({"value": 5e-324, "unit": "µm/px"}, "unit_wrong_kind"),
        ({1: 61, "unit": "mm"}, "unknown_key"),
        (b"61 mm", "wrong_type"),
        (Fraction(61), "wrong_type"),
        ("\ud800", "bad_number"),
        ("5 \ud800", "bad_number"),
        ({"value": 61, "unit": "\ud800"}, "unit_unknown"),
        ("9" * 100_000, "too_long"),
    ],
    ids=lambda value: ascii(value)[:40],
)
def test_what_json_cannot_hold(data: object, code: str) -> None:
    assert refusal(data, "length").code == code


def test_a_resolution_too_fine_for_a_float() -> None:
    assert refusal({"value": 5e-324, "unit": "µm/px"}, "resolution").code == "not_finite"


def test_minus_nothing_is_nothing() -> None:
    quantity = read_quantity({"value": -0.0, "unit": "s"}, "time")
    assert math.copysign(1, quantity.value) == 1


# ---- anything at all


def read_or_refuse(data: object, kind: str) -> None:
    try:
        quantity = read_quantity(data, kind)
    except QuantityError as error:
        code, detail = error.code, error.detail
    else:
        assert math.isfinite(quantity.value)
        assert len(quantity.typed) <= MAX_LENGTH
        return
    assert code in CODES
    assert detail.isprintable()


@given(text=st.text(st.characters(), max_size=70), kind=st.sampled_from(list(KINDS)))
@settings(derandomize=True, max_examples=400)
def test_any_text(text: str, kind: str) -> None:
    read_or_refuse(text, kind)


PIECES = st.sampled_from(
    [
        *"0123456789",
        *" .,/+-−*'\"½⅓°²^_e\u00a0\u200b",
        "mm",
        "in",
        "s",
        "min",
        "h",
        "cd/m2",
        "µm/px",
        "nan",
        "inf",
    ]
)


@given(pieces=st.lists(PIECES, max_size=12), kind=st.sampled_from(list(KINDS)))
@settings(derandomize=True, max_examples=1500)
def test_any_pieces_of_the_grammar(pieces: list[str], kind: str) -> None:
    read_or_refuse("".join(pieces), kind)


JSON_DATA = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["value", "unit"]) | st.text(max_size=3), inner, max_size=3)
        | st.fixed_dictionaries({"value": inner, "unit": inner | st.sampled_from(["mm", "s"])})
    ),
    max_leaves=6,
)


@given(data=JSON_DATA, kind=st.sampled_from(list(KINDS)))
@settings(derandomize=True, max_examples=400)
def test_any_data(data: object, kind: str) -> None:
    read_or_refuse(data, kind)
