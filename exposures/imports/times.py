"""Times as people write them into sheets, turned into our own grammar; for imports alone.

`4 min 50`, `1h05`, `4'50"`, `90 sec.`, `4m30` and, where a column's format says so, `4,5` with a unit of its own or
`4:50`. What could be read two ways is refused, not guessed.
"""

import re

from pinpool.units import find_unit

#: How a colon is meant: 4:50 is 4 min 50 s, or 4 h 50 min. With two colons it is h:min:s.
COLONS = ("min:s", "h:min")
_NEXT = {"d": "h", "h": "min", "min": "s"}
_SIGNS = {"m": "min", "'": "min", "’": "min", "′": "min", '"': "s", "″": "s", "”": "s", "''": "s", "′′": "s"}
_NUMBER = r"(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)"
_PART = re.compile(rf"\s*({_NUMBER})\s*([^\W\d_]+|''|′′|['’′\"″”])?\.?\s*(?:,\s|and\s|\+)?")
_COLON = re.compile(r"([0-9]{1,3}):([0-9]{2})(?::([0-9]{2}(?:[.,][0-9]+)?))?")


def in_grammar(text: str, *, unit: str | None = None, colon: str | None = None) -> str | None:
    """The time in our grammar, decimals as they stand; None where it is no compound time, for the grammar to judge.

    `unit` is what a number without one counts.
    """
    if found := _COLON.fullmatch(text):
        return _from_colons(*found.groups(), colon=colon)
    parts: list[tuple[str, str]] = []
    position, before = 0, None
    while position < len(text):
        part = _PART.match(text, position)
        if part is None:
            return None
        # The last unit is often left out, as in 1h05; of a number alone it is the column's.
        symbol = _symbol(part[2]) if part[2] else _NEXT.get(before or "") if parts else unit
        if symbol is None or (parts and not part[2] and part.end() < len(text)):
            return None
        parts.append((_plain(part[1]), symbol))
        position, before = part.end(), symbol if part[2] else None
    return " ".join(f"{number} {symbol}" for number, symbol in parts) or None


def _from_colons(first: str, second: str, third: str | None, *, colon: str | None) -> str | None:
    if third is None and colon is None:
        return None
    units = ("h", "min", "s") if third is not None else ("min", "s") if colon == "min:s" else ("h", "min")
    numbers = [_plain(number) for number in (first, second, third) if number is not None]
    return " ".join(f"{number} {unit}" for number, unit in zip(numbers, units, strict=True))


def _plain(number: str) -> str:
    """Without the zeros that people put in front: 05 is 5."""
    return re.sub(r"^0+(?=[0-9])", "", number)


def _symbol(spelling: str) -> str | None:
    unit = find_unit(_SIGNS.get(spelling, spelling)) or find_unit(spelling.lower())
    return unit.symbol if unit is not None and unit.dimension == "time" else None
