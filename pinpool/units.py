"""The units that may be written, and exact conversion between them. The one module that imports pint.

pint supplies the factors, once, when this module is loaded, as exact fractions; it is asked only about the
unit names in the table below. Nothing a person typed ever reaches it: its parser reads `0,3 mm` as 0 and
evaluates `9**9**9`.
"""

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import pint


@dataclass(frozen=True)
class Unit:
    """A unit, and how it leads to the base unit of its dimension: base = factor · value + offset.

    With `reciprocal` set the unit counts the other way round (µm per pixel against pixels per inch):
    base = factor / value, and the offset is 0.
    """

    symbol: str
    dimension: str
    factor: Fraction
    offset: Fraction
    reciprocal: bool

    def to_base(self, value: Fraction) -> Fraction:
        """ZeroDivisionError for 0 of a reciprocal unit."""
        return self.factor / value if self.reciprocal else self.factor * value + self.offset

    def from_base(self, value: Fraction) -> Fraction:
        """ZeroDivisionError for 0 of a reciprocal unit."""
        return self.factor / value if self.reciprocal else (value - self.offset) / self.factor


@dataclass(frozen=True)
class UnitKind:
    """What a field holds: the unit it is kept in, the units it may be written in, the least it can be.

    `minimum`, in the canonical unit, is a fact of the kind (no time is negative); None means none.
    """

    canonical: str
    units: tuple[str, ...]
    minimum: float | None


KINDS: dict[str, UnitKind] = {
    # An offset of the hole or an angle may point either way, so these two have no minimum of their own.
    "length": UnitKind("mm", ("mm", "cm", "m", "µm", "nm", "in", "ft"), None),
    "angle": UnitKind("deg", ("deg", "rad"), None),
    "wavelength": UnitKind("nm", ("nm", "µm", "mm"), 0.0),
    "time": UnitKind("s", ("d", "h", "min", "s", "ms"), 0.0),
    "illuminance": UnitKind("lx", ("lx", "klx"), 0.0),
    "luminance": UnitKind("cd/m^2", ("cd/m^2",), 0.0),
    "resolution": UnitKind("dpi", ("dpi", "µm/px"), 0.0),
    "temperature": UnitKind("degC", ("degC", "degF", "K"), -273.15),
    "volume": UnitKind("ml", ("ml", "l", "US fl oz", "imp fl oz"), 0.0),
    # Answers only: no field takes one.
    "spatial_frequency": UnitKind("cycles/mm", ("cycles/mm",), 0.0),
}

UNIT_CHOICES: dict[str, tuple[str, ...]] = {name: kind.units for name, kind in KINDS.items()}

_BASES = {
    "length": "millimeter",
    "time": "second",
    "angle": "degree",
    "illuminance": "lux",
    "luminance": "candela / meter ** 2",
    "resolution": "1 / inch",
    "temperature": "degree_Celsius",
    "volume": "milliliter",
    "spatial_frequency": "1 / millimeter",
}

# Symbol, dimension, pint's name, other spellings (case matters), English words (any case).
_TABLE: tuple[tuple[str, str, str, str, str], ...] = (
    ("nm", "length", "nanometer", "", "nanometre nanometres nanometer nanometers"),
    # The micro sign U+00B5 and the Greek letter U+03BC look alike; keyboards give either.
    ("µm", "length", "micrometer", "μm um", "micrometre micrometres micrometer micrometers micron microns"),
    ("mm", "length", "millimeter", "", "millimetre millimetres millimeter millimeters"),
    ("cm", "length", "centimeter", "", "centimetre centimetres centimeter centimeters"),
    ("m", "length", "meter", "", "metre metres meter meters"),
    ("in", "length", "inch", '" ″', "inch inches"),
    ("ft", "length", "foot", "", "foot feet"),
    ("ms", "time", "millisecond", "", "millisecond milliseconds"),
    ("s", "time", "second", "", "sec secs second seconds"),
    ("min", "time", "minute", "", "mins minute minutes"),
    ("h", "time", "hour", "", "hr hrs hour hours"),
    ("d", "time", "day", "", "day days"),
    ("deg", "angle", "degree", "°", "degree degrees"),
    ("rad", "angle", "radian", "", "radian radians"),
    ("lx", "illuminance", "lux", "", "lux"),
    ("klx", "illuminance", "kilolux", "", "kilolux"),
    ("cd/m^2", "luminance", "candela / meter ** 2", "cd/m² cd/m2", ""),
    # pint's own "dpi" is a dry pint.
    ("dpi", "resolution", "1 / inch", "ppi DPI PPI", ""),
    ("µm/px", "resolution", "1 / micrometer", "μm/px um/px", ""),
    ("degC", "temperature", "degree_Celsius", "°C ℃", ""),
    ("degF", "temperature", "degree_Fahrenheit", "°F ℉", ""),
    ("K", "temperature", "kelvin", "", "kelvin"),
    ("ml", "volume", "milliliter", "mL", "millilitre millilitres milliliter milliliters"),
    ("l", "volume", "liter", "L", "litre litres liter liters"),
    # The two differ by 4 %, so “fl oz” alone is none.
    ("US fl oz", "volume", "fluid_ounce", "", ""),
    ("imp fl oz", "volume", "imperial_fluid_ounce", "", ""),
    ("cycles/mm", "spatial_frequency", "1 / millimeter", "", ""),
)
_RECIPROCAL = {"µm/px"}


def _units() -> dict[str, Unit]:
    registry: pint.UnitRegistry[Any] = pint.UnitRegistry(non_int_type=Fraction)
    units = {}
    for symbol, dimension, name, *_ in _TABLE:
        source, base = registry.Unit(name), registry.Unit(_BASES[dimension])
        offset = Fraction(registry.convert(Fraction(0), source, base))
        factor = Fraction(registry.convert(Fraction(1), source, base)) - offset
        units[symbol] = Unit(symbol, dimension, factor, offset, symbol in _RECIPROCAL)
    return units


UNITS: dict[str, Unit] = _units()

_BY_SPELLING = {spelling: UNITS[symbol] for symbol, _, _, others, _ in _TABLE for spelling in (symbol, *others.split())}
_BY_WORD = {word: UNITS[symbol] for symbol, *_, words in _TABLE for word in words.split()}


def find_unit(spelling: str) -> Unit | None:
    """The unit written `spelling`, or None. Symbols are case-sensitive (`mm`, not `Mm`), words are not."""
    unit = _BY_SPELLING.get(spelling)
    if unit is None and spelling.isascii():
        unit = _BY_WORD.get(spelling.lower())
    return unit


def as_written(number: float) -> Fraction:
    """A float as the shortest decimal that names it: 25.4, not the binary fraction nearest to 25.4.

    So 25.4 mm is 1 in, and `{"value": 0.3, ...}` is the same as `"0.3 ..."`. ValueError unless finite.
    """
    return Fraction(number if isinstance(number, int) else repr(float(number)))


def convert_exactly(value: Fraction, from_unit: Unit, to_unit: Unit) -> Fraction:
    """`value` of one unit in another. ValueError across dimensions, ZeroDivisionError for 0 µm/px."""
    if from_unit.dimension != to_unit.dimension:
        raise ValueError(f"{from_unit.symbol} measures {from_unit.dimension}, {to_unit.symbol} does not.")
    if from_unit is to_unit:
        return value
    return to_unit.from_base(from_unit.to_base(value))


def convert(value: float, from_unit: str, to_unit: str) -> float:
    """`value` of one unit in another, both named by their symbol; correctly rounded.

    KeyError for a symbol not in `UNITS`; ValueError across dimensions or unless finite; OverflowError
    for a result too large for a float; ZeroDivisionError for 0 µm/px.
    """
    return float(convert_exactly(as_written(value), UNITS[from_unit], UNITS[to_unit]))
