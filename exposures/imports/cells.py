"""One cell read as its column's format says, into what the API's body takes; what is not declared is not guessed."""

import re
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import date, datetime, time, timedelta, timezone, tzinfo
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from exposures.imports.fields import Field
from exposures.imports.sheets import Cell
from exposures.imports.times import in_grammar
from pinpool.quantities import QuantityError, read_quantity

DATE_ORDERS = ("iso", "day_first", "month_first")
DECIMALS = (".", ",")


@dataclass(frozen=True)
class Format:
    """How a column is written; each part says nothing while it is None.

    `decimal` sign, `unit` of numbers without one, order of the `date`, `zone` (a name such as Europe/Lisbon, or an
    offset such as +01:00), `clock` for days without a time, `colon` of times such as 4:50.
    """

    decimal: str | None = None
    unit: str | None = None
    date: str | None = None
    zone: str | None = None
    clock: str | None = None
    colon: str | None = None

    def stored(self) -> dict[str, str]:
        return {name: value for name, value in asdict(self).items() if value is not None}


UNDECLARED = Format()
#: Which parts of a format the kinds of field have use for.
PARTS: dict[str, tuple[str, ...]] = {
    "time": ("decimal", "unit", "colon"),
    "number": ("decimal",),
    "whole": ("decimal",),
    "instant": ("date", "zone", "clock"),
    "date": ("date",),
}


def parts_of(field: Field) -> tuple[str, ...]:
    """The parts of a format that a field has use for."""
    return PARTS.get(field.kind, ("decimal", "unit") if field.is_quantity else ())


class CellFault(ValueError):
    """A cell that cannot be read: `code` for programs, `detail` for a person."""

    def __init__(self, code: str, detail: str) -> None:
        super().__init__(detail)
        self.code, self.detail = code, detail


_ERRORS = {"#REF!", "#N/A", "#VALUE!", "#NAME?", "#DIV/0!", "#NUM!", "#NULL!"}
_EMPTY = {"", "-", "–", "—"}
_YES, _NO = {"yes", "y", "true", "x", "✓", "1"}, {"no", "n", "false", "0"}
#: What people write beside a number, by the last part of the field's name.
_BESIDE = {
    "f_number": r"f\s*/?",
    "ev": "ev",
    "iso": "iso",
    "nominal_exposure_index": "iso|ei",
    "judged_stops": "stops?|ev",
    "filter_stops": "stops?|ev",
}


def is_empty(cell: Cell) -> bool:
    """Nothing, or the dash that stands for it."""
    return isinstance(cell, str) and cell in _EMPTY


def as_text(cell: Cell) -> str:
    """The cell as a person wrote it, without the apostrophe that keeps a text from being taken for a formula."""
    if not isinstance(cell, str):
        return format(Decimal(repr(cell)).normalize(), "f")
    if cell[:1] == "=":
        raise CellFault("formula", "Formulas are not worked out here; paste the value.")
    if cell in _ERRORS:
        raise CellFault("cell_error", f"The sheet itself could not work this out: {cell}.")
    return cell[1:] if cell[:1] == "'" and cell[1:2] in {"=", "+", "-", "@", "\t"} else cell


def read_cell(cell: Cell, field: Field, form: Format) -> Any:
    """What the body takes for this cell; raises `CellFault`. Days and times of day: see `read_instant`."""
    text = as_text(cell)
    if field.is_quantity:
        return _quantity(text, field, form)
    return _READERS.get(field.kind, _text)(text, field, form)


# ----------------------------------------------------------------------------------------------------- numbers


def _with_point(text: str, decimal: str | None) -> str:
    """The text with its decimals after a point, if the format says that they stand after a comma."""
    if decimal == ",":
        if re.search(r"[0-9]\.[0-9]", text):
            raise CellFault("decimal_point", "A point, where the column's format says decimal comma; which is right?")
        return re.sub(r"(?<![0-9]),(?=[0-9])|(?<=[0-9]),(?=[0-9])", ".", text)
    if re.search(r"[0-9],[0-9]", text):
        raise CellFault("decimal_comma", 'If this is a decimal comma, declare the column\'s format {"decimal": ","}.')
    return text


def _quantity(text: str, field: Field, form: Format) -> str:
    text = _with_point(text, form.decimal)
    bare = re.fullmatch(r"[-−+]?[0-9.,/¼½¾⅓⅔⅛⅜⅝⅞\s]+", text) is not None
    if bare and form.unit is None:
        raise CellFault("unit_missing", 'No unit here; declare the column\'s format, such as {"unit": "min"}.')
    if bare and not re.search(r"[0-9]\s+[0-9]+\Z", text):
        return f"{text} {form.unit}"
    if field.kind == "time":
        if form.colon is None and re.fullmatch(r"[0-9]+:[0-9]{2}", text):
            raise CellFault("colon", 'Minutes and seconds, or hours? Declare the column\'s format {"colon": "min:s"}.')
        return in_grammar(text, unit=form.unit, colon=form.colon) or text
    return text


def _number(text: str, field: Field, form: Format) -> float:
    beside = _BESIDE.get(field.name.rpartition(".")[2])
    if beside:
        text = re.sub(rf"\A(?:{beside})\s*|\s*(?:{beside})\Z", "", text, flags=re.IGNORECASE)
    try:
        # Our grammar reads fractions too, but no number without a unit; a millimetre is counted as it stands.
        return read_quantity(f"{_with_point(text, form.decimal)} mm", "length").value
    except QuantityError as fault:
        detail = f"“{text[:40]}” is no number, such as 12, 0.5, −1/3 or ½."
        raise CellFault("not_a_number" if fault.code.startswith("unit") else fault.code, detail) from None


def _whole(text: str, field: Field, form: Format) -> float | int:
    value = _number(text, field, form)
    return int(value) if value.is_integer() else value


# ------------------------------------------------------------------------------------------------------- words


def _text(text: str, field: Field, form: Format) -> str:  # noqa: ARG001  (as all readers take them)
    return text


def _yes_no(text: str, field: Field, form: Format) -> bool:  # noqa: ARG001
    if text.lower() in _YES | _NO:
        return text.lower() in _YES
    raise CellFault("invalid", f"Write yes or no; “{text[:40]}” is neither.")


def _choice(text: str, field: Field, form: Format) -> str:  # noqa: ARG001
    """A choice however it is written; anything else as it stands, for the body to refuse with what would do."""

    def plain(words: str) -> str:
        return re.sub(r"[\s_-]+", "", words.casefold())

    return next((choice for choice in field.choices if plain(choice) == plain(text)), text)


# ------------------------------------------------------------------------------------------------ days and times

_MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
    "december",
)  # fmt: skip
_ISO = re.compile(r"([0-9]{4})[-/.]([0-9]{1,2})[-/.]([0-9]{1,2})(?![0-9])")
_SHORT = re.compile(r"([0-9]{1,2})[-/.]\s*([0-9]{1,2})[-/.]\s*([0-9]{4}|[0-9]{2})(?![0-9])")
_NAMED = re.compile(
    r"(?:([0-9]{1,2})\.?[\s-]+([a-z]{3,9})\.?|([a-z]{3,9})\.?\s+([0-9]{1,2})),?[\s-]+([0-9]{4})", re.IGNORECASE
)
_CLOCK = re.compile(r"([0-9]{1,2})[:.h]([0-9]{2})(?::([0-9]{2})(?:\.[0-9]+)?)?\s*([ap]\.?m\.?)?", re.IGNORECASE)
_OFFSET = re.compile(r"\s*(Z|UTC|[+\-−][0-9]{2}:?[0-9]{2})\Z", re.IGNORECASE)


def read_instant(cell: Cell, form: Format, clock: Cell = "") -> str:
    """A moment as the API takes it, from a day with or without a time of day; `clock` is the row's own time of day."""
    text = as_text(cell)
    day, rest = _day(text, form)
    rest, zone = rest.strip(" ,T"), None
    if found := _OFFSET.search(rest):
        zone, rest = zone_of(found[1]), rest[: found.start()].strip()
    said = rest or ("" if is_empty(clock) else as_text(clock)) or form.clock
    if not said:
        detail = 'A day without a time of day; declare which, such as {"clock": "12:00"}, or a column for it.'
        raise CellFault("no_clock", detail)
    moment = datetime.combine(day, clock_of(said))
    zone = zone or (zone_of(form.zone) if form.zone else None)
    if zone is None:
        raise CellFault("no_offset", 'Declare the column\'s time zone, such as {"zone": "Europe/Lisbon"}.')
    moment = moment.replace(tzinfo=zone)
    if moment.utcoffset() != moment.replace(fold=1).utcoffset():
        raise CellFault("clock_change", "The clocks were changed in that hour; add the offset from UTC.")
    return moment.isoformat()


def _date(text: str, field: Field, form: Format) -> str:  # noqa: ARG001
    day, rest = _day(text, form)
    if rest.strip(" T0:"):
        raise CellFault("invalid", "Write a day alone here.")
    return day.isoformat()


def _day(text: str, form: Format) -> tuple[date, str]:
    """The day that a text begins with, and the rest of it."""
    if found := _ISO.match(text):
        numbers = found[1], found[2], found[3]
    elif found := _NAMED.match(text):
        word = (found[2] or found[3]).lower()
        month = next((number for number, name in enumerate(_MONTHS, 1) if name.startswith(word)), None)
        if month is None:
            raise CellFault("invalid", f"“{word}” is no month.")
        numbers = found[5], str(month), found[1] or found[4]
    elif found := _SHORT.match(text):
        if form.date not in {"day_first", "month_first"}:
            detail = 'Day or month first? Declare the column\'s format {"date": "day_first"} or month_first.'
            raise CellFault("date_order", detail)
        first, second = (found[1], found[2]) if form.date == "month_first" else (found[2], found[1])
        # Years of two digits are those from 1950 to 2049.
        year = found[3] if len(found[3]) == 4 else ("19" if found[3] >= "50" else "20") + found[3]
        numbers = year, first, second
    else:
        raise CellFault("invalid", f"“{text[:40]}” is no day, such as 2026-05-01 or 1 May 2026.")
    try:
        return date(*map(int, numbers)), text[found.end() :]
    except ValueError:
        raise CellFault("invalid", f"There is no such day: “{found[0]}”, read {form.date or 'iso'}.") from None


def clock_of(text: str) -> time:
    """A time of day: 14:05, 14.05, 14h05, 2:05 pm."""
    found = _CLOCK.fullmatch(text.strip())
    if found is None:
        raise CellFault("invalid", f"“{text[:40]}” is no time of day, such as 14:05.")
    hour, minute, second = int(found[1]), int(found[2]), int(found[3] or 0)
    if found[4]:
        hour = hour % 12 + 12 * (found[4][0] in "pP") if 1 <= hour <= 12 else 24
    try:
        return time(hour, minute, second)
    except ValueError:
        raise CellFault("invalid", f"There is no such time of day: “{text[:40]}”.") from None


def zone_of(text: str) -> tzinfo:
    """A zone by its name or offset; raises `CellFault`."""
    if text.upper() in {"Z", "UTC"}:
        return timezone.utc  # noqa: UP017  (beside the other zones made here)
    if found := re.fullmatch(r"([+\-−])([0-9]{2}):?([0-9]{2})", text):
        ahead = timedelta(hours=int(found[2]), minutes=int(found[3]))
        if ahead < timedelta(hours=15):
            return timezone(ahead if found[1] == "+" else -ahead)
    try:
        return ZoneInfo(text)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        detail = f"“{text[:40]}” is no time zone, such as Europe/Lisbon or +01:00."
        raise CellFault("unknown_zone", detail) from None


_READERS: dict[str, Callable[[str, Field, Format], Any]] = {
    "number": _number,
    "whole": _whole,
    "yes_no": _yes_no,
    "choice": _choice,
    "date": _date,
}
