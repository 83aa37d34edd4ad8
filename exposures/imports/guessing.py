"""Which column is what: guessed by its heading and by what stands in it, with how sure that is, and what to ask."""

import re
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, replace
from typing import Any

from exposures.catalogue import plain_words
from exposures.imports.cells import UNDECLARED, Format, is_empty, parts_of
from exposures.imports.fields import Field, fields_of, fields_offered
from exposures.imports.sheets import Cell
from exposures.imports.times import COLONS
from exposures.imports.words import in_words
from pinpool.units import KINDS, find_unit

#: Headings that clubs write, in plain words, by field; the field's own name does always.
HEADINGS: dict[str, tuple[str, ...]] = {
    "camera": ("camera code", "cam", "code", "box", "tin"),
    "paper": ("paper name", "film", "material", "stock", "emulsion"),
    "taken_at": ("date", "day", "when", "taken", "taken on", "exposed on"),
    "clock": ("time of day", "at", "start", "started", "hour", "time"),
    "member": ("who", "by", "photographer", "name", "user", "exposed by"),
    "exposure_time": ("exposure", "exposed", "time given", "exposed for", "exp time", "duration", "given", "time"),
    "reading.ev": ("ev", "ev 100", "ev100", "light", "meter", "metered", "reading"),
    "reading.iso": ("iso", "meter iso"),
    "reading.time": ("meter time", "metered time", "reading time"),
    "reading.f_number": ("meter f", "meter aperture", "meter f number"),
    "reading.illuminance": ("lux", "illuminance"),
    "reading.luminance": ("luminance",),
    "f_number": ("f", "f number", "f stop", "aperture", "camera f"),
    "filter_stops": ("filter", "filter stops", "filter factor stops"),
    "result.judged_stops": ("result", "judged", "over under", "off by", "stops off", "verdict", "judged stops"),
    "result.right_time": ("right time", "should have been", "best time", "correct time"),
    "result.density": ("density",),
    "process.developer": ("developer",),
    "process.dilution": ("dilution",),
    "process.temperature": ("temperature", "dev temperature", "developer temperature", "temp"),
    "process.time": ("development time", "dev time", "developed for"),
    "process.note": ("process", "development", "developed"),
    "process": ("development", "developed", "developer"),
    "note": ("notes", "remark", "remarks", "comment", "comments"),
    "shared": ("share",),
    "name": ("camera", "camera name", "title", "paper", "paper name"),
    "code": ("camera code", "id", "no", "number"),
    "family": ("kind", "type", "family of paper"),
    "nominal_exposure_index": ("ei", "iso", "index", "exposure index", "speed", "nominal ei"),
    "club_owned": ("club", "owned by the club"),
    "spec.film_plane.kind": ("shape", "form", "film plane"),
    "spec.hole.diameter": ("hole", "pinhole", "hole size", "hole diameter"),
    "spec.focal_length": ("focal length", "focus"),
    "spec.film_plane.distance": ("distance",),
    "spec.film_plane.diameter": ("tin diameter", "drum diameter"),
}
#: A column fits from here on; below it is asked about.
SURE_SHARE = 0.5
_SAMPLE = 60


@dataclass(frozen=True)
class Column:
    """A column by its name; `field` is None where it is left aside, `sure_share` how likely the guess is right."""

    name: str
    field: str | None = None
    format: Format = UNDECLARED
    sure_share: float = 0.0

    def stored(self) -> dict[str, Any]:
        form = self.format.stored()
        return {"column": self.name, "field": self.field, "format": form, "sure_share": self.sure_share}


@dataclass(frozen=True)
class Question:
    """What cannot be guessed: `about` a column's field, a part of its format, or a field that no column gives."""

    about: str
    text: str
    column: str | None = None
    field: str | None = None
    choices: tuple[str, ...] = ()
    suggestion: str | None = None


def column_names(heading: Iterable[Cell]) -> list[str]:
    """A name for each column, each once: an empty heading goes by its place, a second one of a name by its turn."""
    names: list[str] = []
    for place, cell in enumerate(heading, 1):
        name = base = " ".join(str(cell).split())[:80] or f"column {place}"
        turn = 2
        while name in names:
            name, turn = f"{base} ({turn})", turn + 1
        names.append(name)
    return names


def guessed(
    *, kind: str, table: list[list[Cell]], known: dict[str, Callable[[str], bool]], plugins: Collection[str] = ()
) -> list[Column]:
    """A column for each of the table's, each field at most once, the surest first.

    `known` tells names that exist, `plugins` which of other packages are switched on.
    """
    fields = fields_offered(kind, plugins)
    names = column_names(table[0])
    samples = [[row[place] for row in table[1:] if not is_empty(row[place])][:_SAMPLE] for place in range(len(names))]
    scored = sorted(
        (
            (_by_heading(name, each) * _weight(each, _by_content(sample, each, known)), place, each.name)
            for place, (name, sample) in enumerate(zip(names, samples, strict=True))
            for each in fields.values()
        ),
        key=lambda found: -found[0],
    )
    columns = [Column(name) for name in names]
    taken: set[str] = set()
    for sure, place, name in scored:
        if sure >= SURE_SHARE and columns[place].field is None and name not in taken:
            form = _by_unit(names[place], fields[name])
            columns[place] = replace(columns[place], field=name, format=form, sure_share=round(sure, 2))
            taken.add(name)
    return columns


def _weight(each: Field, content_share: float) -> float:
    """What is needed is taken by its heading even where its cells are wrong; what is not, only if they fit too."""
    return 0.6 + 0.4 * content_share if each.required else 0.3 + 0.7 * content_share


def _by_heading(heading: str, each: Field) -> float:
    words = plain_words(_UNIT.sub("", heading))
    own = {plain_words(each.name), plain_words(each.name.rpartition(".")[2])}
    if each.name.casefold() == heading.casefold() or words == plain_words(each.name):
        return 1.0
    listed = HEADINGS.get(each.name, ())
    if words in listed:
        return 0.95 - 0.01 * listed.index(words)
    if words in own:
        return 0.8
    # One word of several: enough for what is needed, but not to take a column for something else that it is not.
    return 0.55 if each.required and any(word in words.split() for word in (*own, *listed[:3])) else 0.0


#: What cells of a kind look like, however they are written.
_LOOKS = {
    "time": r"[0-9.,/½¼¾\s:]+|.*[0-9]\s*(h|min|m|s|sec|secs|seconds|minutes|hours|hrs?|['’′\"″d]).*",
    "number": r"(f\s*/?|ev|iso)?\s*[-+−]?\s*[0-9.,/½¼¾⅓⅔\s]+\s*(ev|iso|stops?)?",
    "whole": r"[0-9]+",
    "instant": r".*[0-9]{1,4}[-/. ]\s?([0-9]{1,2}|[a-z]{3,9})[-/. ,]\s?[0-9]{1,4}.*",
    "clock": r"[0-9]{1,2}[:.h][0-9]{2}(:[0-9]{2})?(\s*[ap]\.?m\.?)?",
    "yes_no": r"yes|no|y|n|x|true|false|1|0",
    "id": r"[0-9a-f-]{36}",
}
_LOOKS["date"] = _LOOKS["instant"]


def _by_content(sample: list[Cell], each: Field, known: dict[str, Callable[[str], bool]]) -> float:
    """Which share of the cells could be what the field takes."""
    if not sample:
        return 0.5
    texts = [str(cell).strip().casefold() for cell in sample]
    if each.kind in known:
        return sum(known[each.kind](text) for text in texts) / len(texts)
    look = _LOOKS.get(each.kind, r".*[0-9].*" if each.is_quantity else ".*")
    return sum(re.fullmatch(look, text, re.DOTALL) is not None for text in texts) / len(texts)


_UNIT = re.compile(r"[\[(]\s*([^\])]{1,12}?)\s*[\])]\s*\Z|\s+in\s+(\w{1,12})\Z")


def _by_unit(heading: str, each: Field) -> Format:
    """The unit that the heading itself declares, as “Time (min)” does."""
    found = _UNIT.search(heading)
    unit = find_unit(found[1] or found[2]) if found and each.is_quantity else None
    return Format(unit=unit.symbol) if unit and unit.symbol in KINDS[each.kind].units else Format()


# --------------------------------------------------------------------------------------------------- questions


_GIVE = "choose it at its column, or give it for every row."


def questions_of(*, kind: str, columns: list[Column], table: list[list[Cell]], fixed: dict[str, Any]) -> list[Question]:
    """What the mapping leaves open, most pressing first."""
    fields = fields_of(kind)
    given = {column.field for column in columns} | fixed.keys()
    left = tuple(column.name for column in columns if column.field is None)
    asked = [
        Question("field", f"“{in_words(each.name)}” is needed: {_GIVE}", field=each.name, choices=each.choices or left)
        for each in fields.values()
        if each.required and each.name not in given
    ]
    if kind == "exposures" and not any(name and name.startswith("reading.") for name in given):
        asked.append(Question("field", f"“{in_words('reading')}” is needed: {_GIVE}", field="reading.ev", choices=left))
    for place, column in enumerate(columns):
        if column.field is not None:
            sample = [(number, row[place]) for number, row in enumerate(table) if number and not is_empty(row[place])]
            asked += _about_format(column, fields[column.field], sample)
    return asked


def _about_format(column: Column, each: Field, sample: list[tuple[int, Cell]]) -> Iterable[Question]:
    form, parts = column.format, parts_of(each)
    texts = [cell for _, cell in sample if isinstance(cell, str)]

    def first(pattern: str) -> str | None:
        return next((text for text in texts if re.search(pattern, text)), None)

    def ask(about: str, text: str, choices: tuple[str, ...], suggestion: str | None = None) -> Question:
        return Question(about, text, column.name, each.name, choices, suggestion)

    if "decimal" in parts and form.decimal is None and (seen := first(r"[0-9],[0-9]")):
        yield ask("decimal", f"Is the comma in “{seen[:40]}” a decimal comma?", (",", "."), ",")
    if "unit" in parts and form.unit is None:
        bare = [cell for _, cell in sample if not isinstance(cell, str) or re.fullmatch(r"[0-9.,/½¼¾\s]+", cell)]
        if bare:
            yield ask("unit", f"Which unit is “{bare[0]}” in?", KINDS[each.kind].units)
    if "colon" in parts and form.colon is None and (seen := first(r"\A[0-9]+:[0-9]{2}\Z")):
        yield ask("colon", f"Is “{seen}” minutes and seconds, or hours and minutes?", COLONS)
    if "date" in parts and form.date is None and (seen := first(_SHORT)):
        yield ask(
            "date", f"Is the day or the month first in “{seen[:40]}”?", ("day_first", "month_first"), _order(texts)
        )
    if "zone" in parts and form.zone is None and any(not re.search(r"(Z|[+-][0-9]{2}:?[0-9]{2})\Z", t) for t in texts):
        yield ask("zone", "In which time zone are these? Give a name such as Europe/Lisbon, or an offset.", ())


_SHORT = r"\A[0-9]{1,2}[-/.]\s*[0-9]{1,2}[-/.]\s*([0-9]{4}|[0-9]{2})"


def _order(texts: list[str]) -> str | None:
    """The order that some day past the 12th gives away, unless another contradicts it."""
    pairs = [re.match(r"([0-9]{1,2})[-/.]\s*([0-9]{1,2})", text) for text in texts if re.match(_SHORT, text)]
    day_first = any(pair and int(pair[1]) > 12 for pair in pairs)
    month_first = any(pair and int(pair[2]) > 12 for pair in pairs)
    return None if day_first == month_first else "day_first" if day_first else "month_first"
