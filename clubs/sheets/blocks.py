"""Sections of a printed sheet, whoever wrote them: read strictly, cleaned, and a sentence for every fault.

A section is `{"title": text, "blocks": [block, …]}`; the kinds of blocks and their keys are in `KINDS`. All texts are
data: nothing in them is markup to the typesetter.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from clubs.sheets.drawings import read_drawing
from clubs.sheets.texts import legible

#: Paper in mm, and where the text of a sheet stands on it: width and height; `sheet.typ` has the same margins.
PAGES_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
BODY_MM = {name: (round(width - 34.0, 3), round(height - 49.0, 3)) for name, (width, height) in PAGES_MM.items()}
#: The largest drawing in true scale: its heading and caption stand on the same page.
TRUE_SCALE_MM = {name: (width, round(height - 28.0, 3)) for name, (width, height) in BODY_MM.items()}

MOST_LETTERS, MOST_SECTIONS, MOST_BLOCKS = 10_000, 500, 5_000
#: The largest code in bytes: its modules stay large enough to be read from paper.
MOST_CODE_BYTES = 600
MOST_CAPTION = 300


class Faulty(ValueError):
    """Sections that cannot be set, with a sentence for each reason."""

    def __init__(self, faults: list[str]) -> None:
        self.faults = faults
        super().__init__(" ".join(fault[:1].upper() + fault[1:] for fault in faults))


@dataclass
class _Reading:
    """One reading of sections: where it is, and what was wrong so far."""

    page: str
    faults: list[str] = field(default_factory=list)

    def wrong(self, at: str, what: str) -> None:
        if len(self.faults) < 20:
            self.faults.append(f"{at}: {what}" if at else what)


Reader = Callable[[_Reading, str, Any], Any]


def checked(sections: Any, *, page: str = "a4") -> list[dict[str, Any]]:
    """The sections with cleaned texts and drawings; raises `Faulty` with every fault."""
    reading = _Reading(page)
    found = _listed(_section, most=MOST_SECTIONS)(reading, "sections", sections)
    if not reading.faults and (count := sum(len(section["blocks"]) for section in found)) > MOST_BLOCKS:
        reading.wrong("sections", f"there are {count} blocks; at most {MOST_BLOCKS} are set.")
    if reading.faults:
        raise Faulty(reading.faults)
    return found


def _section(reading: _Reading, at: str, value: Any) -> dict[str, Any]:
    keys: dict[str, Reader] = {"title": _text(most=300, blank=True), "blocks": _listed(_block, most=MOST_BLOCKS)}
    return _keyed(reading, at, value, keys, {})


def _block(reading: _Reading, at: str, value: Any) -> dict[str, Any]:
    kind = value.get("kind") if isinstance(value, dict) else None
    if not isinstance(kind, str) or kind not in KINDS:
        reading.wrong(at, f"a block has a kind, one of {', '.join(KINDS)}; this is {_short(kind)}.")
        return {}
    keys, optional = KINDS[kind]
    return _CHECKS.get(kind, _as_given)(reading, at, _keyed(reading, at, value, {"kind": _as_given, **keys}, optional))


def _keyed(
    reading: _Reading, at: str, value: Any, keys: dict[str, Reader], optional: dict[str, tuple[Reader, Any]]
) -> dict[str, Any]:
    """An object with just these keys; `optional` ones come with what they are where left out."""
    if not isinstance(value, dict):
        reading.wrong(at, f"this must be an object with {', '.join(keys)}, not {_short(value)}.")
        return {}
    for name in value.keys() - keys.keys() - optional.keys():
        reading.wrong(at, f"{_short(name)} is none of the keys {', '.join((*keys, *optional))}.")
    for name in keys.keys() - value.keys():
        reading.wrong(at, f"the key {name} is missing.")
    readers = keys | {name: reader for name, (reader, _) in optional.items()}
    defaults = {name: default for name, (_, default) in optional.items()}
    read = {name: reader(reading, f"{at}/{name}", value[name]) for name, reader in readers.items() if name in value}
    return defaults | read


def _text(*, most: int = MOST_LETTERS, blank: bool = False) -> Reader:
    def read(reading: _Reading, at: str, value: Any) -> str:
        if not isinstance(value, str):
            reading.wrong(at, f"this must be a text, not {_short(value)}.")
            return ""
        text = legible(value)
        if len(text) > most:
            reading.wrong(at, f"the text has {len(text)} letters; at most {most} are set.")
        if not blank and not text.strip():
            reading.wrong(at, "the text is empty.")
        return text

    return read


def _listed(each: Reader, *, most: int, least: int = 0) -> Reader:
    def read(reading: _Reading, at: str, value: Any) -> list[Any]:
        if not isinstance(value, list | tuple):
            reading.wrong(at, f"this must be a list, not {_short(value)}.")
            return []
        if not least <= len(value) <= most:
            reading.wrong(at, f"there are {len(value)}; {least} to {most} are set.")
            return []
        return [each(reading, f"{at}/{index}", part) for index, part in enumerate(value)]

    return read


def _length(reading: _Reading, at: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        reading.wrong(at, f"this must be a length in mm, not {_short(value)}.")
        return 1.0
    if not 1 <= value <= 100_000:
        reading.wrong(at, f"{value:g} mm is outside 1 to 100 000 mm.")
    return float(value)


def _yes_no(reading: _Reading, at: str, value: Any) -> bool:
    if not isinstance(value, bool):
        reading.wrong(at, f"this must be true or false, not {_short(value)}.")
    return bool(value)


def _as_given(_reading: _Reading, _at: str, value: Any) -> Any:
    return value


def _table(reading: _Reading, at: str, block: dict[str, Any]) -> dict[str, Any]:
    width = len(block.get("columns", ()))
    for index, row in enumerate(block.get("rows", ())):
        if len(row) != width:
            reading.wrong(f"{at}/rows/{index}", f"the row has {len(row)} cells, the table {width} columns.")
    return block


def _drawing(reading: _Reading, at: str, block: dict[str, Any]) -> dict[str, Any]:
    if {"svg", "width_mm", "height_mm"} <= block.keys():
        width, height = block["width_mm"], block["height_mm"]
        block["svg"], faults = read_drawing(block["svg"], width_mm=width, height_mm=height)
        for fault in faults:
            reading.wrong(f"{at}/svg", fault)
        most = TRUE_SCALE_MM.get(reading.page, TRUE_SCALE_MM["a4"])
        if block["true_scale"] and not (width <= most[0] and height <= most[1]):
            reading.wrong(
                at,
                f"in true scale a drawing on {reading.page} is at most {most[0]:g} × {most[1]:g} mm; this is "
                f"{width:g} × {height:g} mm. Cut it into tiles.",
            )
    return block


def _code(reading: _Reading, at: str, block: dict[str, Any]) -> dict[str, Any]:
    size = len(block.get("text", "").encode("utf-8", "replace"))
    if size > MOST_CODE_BYTES:
        reading.wrong(f"{at}/text", f"a code holds at most {MOST_CODE_BYTES} bytes; this is {size}.")
    return block


_CHECKS = {"table": _table, "drawing": _drawing, "code": _code}

_line = _text(most=2_000, blank=True)
_any_svg = _text(most=10_000_000)

#: The keys of each kind of block, then those that may be left out with what they are then.
KINDS: dict[str, tuple[dict[str, Reader], dict[str, tuple[Reader, Any]]]] = {
    "text": ({"text": _text(blank=True)}, {}),
    "facts": ({"rows": _listed(_listed(_line, least=2, most=2), most=500)}, {}),
    "table": (
        {"columns": _listed(_line, least=1, most=12), "rows": _listed(_listed(_line, least=1, most=12), most=2_000)},
        {"note": (_line, "")},
    ),
    "steps": ({"items": _listed(_line, most=200)}, {}),
    "checklist": ({"items": _listed(_line, most=200)}, {}),
    "caution": ({"text": _text(most=2_000)}, {}),
    "drawing": (
        {"svg": _any_svg, "width_mm": _length, "height_mm": _length, "alt": _text(most=2_000)},
        {"caption": (_text(most=MOST_CAPTION, blank=True), ""), "true_scale": (_yes_no, False)},
    ),
    "code": ({"text": _text(), "alt": _text(most=300)}, {}),
    "fold": ({}, {}),
    "break": ({}, {}),
}


def _short(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:59] + "…"
