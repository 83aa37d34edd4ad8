"""Quantities from people and back to them: our own strict grammar, and nothing looser.

    quantity  = [sign] number [spaces] unit
              | number [spaces] unit [spaces] number [spaces] unit …   (times only, units falling)
    number    = 61 | 0.24 | .5 | 1/60 | 5 3/8 | ½ | 1½ | 1 ½
    spaces    = space, no-break space or narrow no-break space, any number of them

A sign is read only where the kind has negatives. Everything else is refused with a stable code and a
sentence that says what to write instead; what could be read two ways (`1,000 mm`) is never guessed.
`fixtures/vectors/quantities.json` is the same grammar as examples, for this reader and any other.
"""

import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Literal, NoReturn

from pinpool.units import KINDS, UNITS, Unit, as_written, convert, convert_exactly, find_unit

MAX_LENGTH = 64


@dataclass(frozen=True)
class Quantity:
    """`value` in the canonical unit of `kind`, and what the person typed (`"61 mm"` for the object form)."""

    value: float
    kind: str
    typed: str


class QuantityError(ValueError):
    """A quantity refused. `code` is stable and for programs, `detail` is a sentence for the person."""

    def __init__(self, code: str, detail: str) -> None:
        super().__init__(detail)
        self.code = code
        self.detail = detail


def read_quantity(
    data: object,
    kind: str,
    *,
    minimum: float | None = None,
    maximum: float | None = None,
    exclusive_minimum: bool = False,
) -> Quantity:
    """Read `"61 mm"` or `{"value": 61, "unit": "mm"}`; bounds are in the canonical unit of `kind`.

    Raises QuantityError for any data whatever that is not such a quantity; KeyError for an unknown `kind`.
    """
    if isinstance(data, str):
        exact, typed = _read_text(data, kind), data
    elif isinstance(data, Mapping):
        exact, typed = _read_object(data, kind)
    elif isinstance(data, bool | int | float):
        _finite(data)
        _refuse("unit_missing", f"A bare number has no unit. {_units_that_do(kind)}")
    else:
        _refuse("wrong_type", 'Write a text such as "61 mm", or an object with "value" and "unit".')
    try:
        value = float(exact)
    except OverflowError:
        _refuse("not_finite", "This is larger than any number that can be kept.")
    _check_range(value, kind, minimum, maximum, exclusive_minimum)
    return Quantity(value, kind, typed)


def quantity_out(value: float, kind: str, *, lengths: Literal["mm", "in"] = "mm") -> dict[str, float | str]:
    """`value`, in the canonical unit of `kind`, as the API answers it; `lengths="in"` turns mm to inches.

    Never rounded. ValueError for NaN and infinities: what cannot be written in JSON must not be answered.
    """
    value, unit = float(value), KINDS[kind].canonical
    if not math.isfinite(value):
        raise ValueError(f"A {kind} of {value} cannot be answered.")
    if kind == "length" and lengths == "in":
        value, unit = convert(value, unit, "in"), "in"
    return {"value": value, "unit": unit}


_SPACES = " \u00a0\u202f"
_VULGAR = {
    # Unicode itself spells ½ as 1⁄2, with its own stroke.
    character: Fraction(unicodedata.normalize("NFKC", character).replace("\u2044", "/"))
    for character in "¼½¾⅐⅑⅒⅓⅔⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞↉"
}
_VULGARS = "".join(_VULGAR)

# One number and the unit after it, up to the next number or the end. cd/m2 alone has a digit in its name.
_PART = re.compile(
    rf"""
    (?: (?: (?P<whole>[0-9]+) [{_SPACES}]+ )? (?P<above>[0-9]+) / (?P<below>[0-9]+)
      | (?P<count>[0-9]*) [{_SPACES}]* (?P<vulgar>[{_VULGARS}])
      | (?P<decimal> [0-9]+ (?:\.[0-9]+)? | \.[0-9]+ )
    )
    [{_SPACES}]*
    (?P<unit> cd/m\^?2 | [^0-9{_VULGARS}]*? )
    (?= [{_SPACES}]* (?: \.?[0-9] | [{_VULGARS}] ) | \Z )
    [{_SPACES}]*
    """,
    re.VERBOSE,
)

# What people and programs write that is no quantity, looked for in this order before the grammar.
_REFUSED: tuple[tuple[re.Pattern[str], str, str], ...] = tuple(
    (re.compile(pattern, re.IGNORECASE | re.ASCII), code, detail)
    for pattern, code, detail in (
        (r"\A[+\-−]?nan(?![a-z])", "not_a_number", "NaN is not a quantity: write a number and a unit."),
        (r"\A[+\-−]?(?:inf(?:inity)?(?![a-z])|∞)", "not_finite", "Infinity is not a quantity."),
        (
            rf"(?<![0-9.])[1-9][0-9]{{0,2}}(?:[,'’_{_SPACES}][0-9]{{3}})+(?![0-9/])|[0-9],[0-9]+,[0-9]",
            "thousands_separator",
            "Write the number without separators between thousands: 1000.",
        ),
        (r"[0-9],[0-9]|\A[+\-−]?,[0-9]", "decimal_comma", "Write decimals with a point: 1.5."),
        (
            (
                r"[*×÷()\[\]{}=]|(?<!m)\^|.\+"  # 2*3, (5), 5^2, 5+3
                rf"|.[-−][{_SPACES}]*[0-9.{_VULGARS}]|[0-9{_VULGARS}][{_SPACES}]*[-−]"  # 5-3, 5 mm - 3 mm
            ),
            "expression",
            "Write one number, not a sum, a product or a range.",
        ),
    )
)
_SCIENTIFIC = re.compile(r"\A[+\-−]?([0-9]*\.?[0-9]+[eE][+-]?[0-9]+)")
# Other than ASCII and letters: what the grammar uses, and what a refusal above names better.
_MARKS = frozenset(_SPACES + _VULGARS + "−°℃℉²³″" + "’×÷∞")


# Who changes one quantity on a page has all the others read again.
@lru_cache(maxsize=1024)
def _read_text(text: str, kind: str) -> Fraction:
    if len(text) > MAX_LENGTH:
        _refuse("too_long", f"A quantity has at most {MAX_LENGTH} characters.")
    text = text.strip(_SPACES)
    if not text:
        _refuse("empty", f"Write a number and a unit. {_units_that_do(kind)}")
    _refuse_known_mistakes(text)
    sign = text[0] if text[0] in "+-−" else ""
    parts = _read_parts(text.removeprefix(sign), kind)
    least = KINDS[kind].minimum
    if sign and least is not None and least >= 0:
        _refuse("out_of_range" if sign != "+" else "bad_number", "Write this without a sign.")
    return sum(
        (_canonical(number if sign in {"", "+"} else -number, unit, kind) for number, unit in parts),
        Fraction(0),
    )


def _refuse_known_mistakes(text: str) -> None:
    for character in text:
        usual = " " <= character <= "~" or character in _MARKS
        letter = unicodedata.category(character).startswith("L") and not "\uff00" <= character <= "\uffef"
        if not usual and not letter:
            _refuse("bad_number", f"The character U+{ord(character):04X} has no place in a quantity.")
    scientific = _SCIENTIFIC.match(text)
    if scientific:
        if math.isinf(float(scientific[1])):
            _refuse("not_finite", "This is larger than any number that can be kept.")
        _refuse("bad_number", "Write the number out, 1000 rather than 1e3.")
    for pattern, code, detail in _REFUSED:
        if pattern.search(text):
            _refuse(code, detail)


def _read_parts(text: str, kind: str) -> list[tuple[Fraction, Unit]]:
    parts: list[tuple[Fraction, Unit]] = []
    whole_so_far = True
    position = 0
    while position < len(text) or not parts:
        part = _PART.match(text, position)
        if part is None:
            _refuse("bad_number", "Start with one number, such as 61, 0.24, 1/60 or 5 3/8.")
        number = _number(part)
        unit = _unit_of_part(part, kind)
        if parts:
            _check_compound(parts[-1][1], unit, kind, whole_so_far=whole_so_far)
        parts.append((number, unit))
        whole_so_far = (part["decimal"] or "").isdigit()
        position = part.end()
    return parts


def _number(part: re.Match[str]) -> Fraction:
    if part["decimal"]:
        return Fraction(part["decimal"])
    whole = part["whole"] or part["count"]
    if part["vulgar"]:
        share = _VULGAR[part["vulgar"]]
    elif int(part["below"]) == 0:
        _refuse("zero_denominator", "The lower number of a fraction cannot be 0.")
    else:
        share = Fraction(int(part["above"]), int(part["below"]))
    if whole and share >= 1:
        _refuse("bad_number", "After a whole number the fraction must be less than one, as in 5 3/8.")
    return int(whole or 0) + share


def _unit_of_part(part: re.Match[str], kind: str) -> Unit:
    spelling = part["unit"]
    if not spelling and part.end() == len(part.string):
        _refuse("unit_missing", f"Write a unit after each number. {_units_that_do(kind)}")
    if not spelling or spelling[0] in "_.,:;/²³":
        _refuse("bad_number", "Write one number, such as 61, 0.24, 1/60 or 5 3/8, and then its unit.")
    return _unit(spelling, kind)


def _check_compound(before: Unit, unit: Unit, kind: str, *, whole_so_far: bool) -> None:
    if kind != "time":
        _refuse("bad_compound", "Write one number and one unit; only a time may have several parts.")
    if unit.factor >= before.factor:
        _refuse("bad_compound", "Write the larger unit first and each unit once, as in 1 h 5 min.")
    if not whole_so_far:
        _refuse("bad_compound", "Only the last part of a time may have a fraction, as in 3 min 20.5 s.")


# -------------------------------------------------------------------------------------------- object form


def _read_object(data: Mapping[object, object], kind: str) -> tuple[Fraction, str]:
    for key in data:
        if key not in {"value", "unit"}:
            _refuse("unknown_key", 'Only "value" and "unit" may stand here.')
    for key in ("value", "unit"):
        if key not in data:
            _refuse("missing_key", f'"{key}" is missing, as in {{"value": 61, "unit": "mm"}}.')
    value, spelling = data["value"], data["unit"]
    if not isinstance(value, int | float):
        _refuse("wrong_type", '"value" must be a number.')
    number = _finite(value)
    if not isinstance(spelling, str):
        _refuse("wrong_type", f'"unit" must be a text. {_units_that_do(kind)}')
    if len(spelling) > MAX_LENGTH:
        _refuse("too_long", f"A unit has at most {MAX_LENGTH} characters.")
    if not spelling:
        _refuse("unit_missing", f'"unit" is empty. {_units_that_do(kind)}')
    return _canonical(number, _unit(spelling, kind), kind), _object_as_text(value, spelling)


def _finite(value: float) -> Fraction:
    if isinstance(value, bool):
        _refuse("boolean", "True and false are not quantities.")
    try:
        if math.isnan(value):
            _refuse("not_a_number", "NaN is not a quantity: write a number and a unit.")
        if math.isinf(value):
            _refuse("not_finite", "Infinity is not a quantity.")
    except OverflowError:  # an int too large for a float
        _refuse("not_finite", "This is larger than any number that can be kept.")
    return as_written(value)


def _object_as_text(value: float, spelling: str) -> str:
    """`61 mm`, written out where that fits the length a text may have."""
    digits = str(value) if isinstance(value, int) else format(Decimal(repr(value)).normalize(), "f")
    text = f"{digits} {spelling}"
    return text if len(text) <= MAX_LENGTH else f"{float(value)!r} {spelling}"


# ------------------------------------------------------------------------------------------------- shared


def _unit(spelling: str, kind: str) -> Unit:
    unit = find_unit(spelling)
    if unit is None:
        _refuse("unit_unknown", f"{spelling!r} is not a unit known here. {_units_that_do(kind)}")
    if unit.symbol not in KINDS[kind].units:
        measured = kind.replace("_", " ")
        _refuse("unit_wrong_kind", f"{spelling!r} is not a unit of {measured}. {_units_that_do(kind)}")
    return unit


def _canonical(number: Fraction, unit: Unit, kind: str) -> Fraction:
    try:
        return convert_exactly(number, unit, UNITS[KINDS[kind].canonical])
    except ZeroDivisionError:
        _refuse("out_of_range", f"This cannot be 0 {unit.symbol}.")


def _check_range(
    value: float, kind: str, minimum: float | None, maximum: float | None, exclusive_minimum: bool
) -> None:
    unit = KINDS[kind].canonical
    least = KINDS[kind].minimum
    if least is not None and value < least:
        _refuse("out_of_range", f"This cannot be less than {least:.12g} {unit}.")
    if minimum is not None and exclusive_minimum and value <= minimum:
        _refuse("out_of_range", f"This must be more than {minimum:.12g} {unit}.")
    if minimum is not None and value < minimum:
        _refuse("out_of_range", f"This must be at least {minimum:.12g} {unit}.")
    if maximum is not None and value > maximum:
        _refuse("out_of_range", f"This must be at most {maximum:.12g} {unit}.")


def _units_that_do(kind: str) -> str:
    *others, last = KINDS[kind].units
    return f"Units that do: {', '.join(others)} or {last}." if others else f"The unit that does: {last}."


def _refuse(code: str, detail: str) -> NoReturn:
    raise QuantityError(code, detail)
