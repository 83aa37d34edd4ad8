"""What a sheet tells that the one before it, of the same kind and subject, did not: key by key and in words."""

import hashlib
from collections import Counter
from collections.abc import Callable, Hashable, Iterator
from dataclasses import dataclass
from typing import Any

from clubs.models import IssuedSheet
from clubs.sheets.texts import shortened

#: As many changes are told on a sheet; the rest is counted.
MOST_TOLD = 40


@dataclass(frozen=True)
class Change:
    """One value that differs. `pointer` (RFC 6901) is into the new sheet's data, or the old one's where it is gone.

    `old` or `new` is None where there was, or is, no such thing; a drawing is told by the SHA-256 of its SVG.
    """

    pointer: str
    old: Any
    new: Any
    words: str


@dataclass(frozen=True)
class Changes:
    """Everything that differs from the sheet numbered `since`, None for the first of its kind and subject."""

    since: int | None
    changes: tuple[Change, ...]

    @property
    def text(self) -> list[str]:
        """A sentence for each change, or that there is none."""
        if self.since is None:
            return ["This is the first sheet of its kind for this subject."]
        told = [change.words for change in self.changes[:MOST_TOLD]]
        more = len(self.changes) - len(told)
        return [*told, *([f"And {more} more."] if more else [])] or ["Nothing of what the sheet says."]


def sheet_before(sheet: IssuedSheet) -> IssuedSheet | None:
    """The club's latest sheet before this one of the same kind and subject that the same people may read."""
    same = {"club": sheet.club_id, "kind": sheet.kind, "subject": sheet.subject, "action": sheet.action}
    return IssuedSheet.objects.filter(**same, number__lt=sheet.number).order_by("-number").first()


def changes_since(sheet: IssuedSheet) -> Changes:
    """What changed since the sheet before."""
    before = sheet_before(sheet)
    return Changes(None, ()) if before is None else Changes(before.number, differences(before.data, sheet.data))


def told_changes(before: IssuedSheet, sheet: IssuedSheet) -> dict[str, Any]:
    """The same as the new sheet itself says it."""
    found = Changes(before.number, differences(before.data, sheet.data))
    return {"since": before.number, "text": found.text}


def differences(old: dict[str, Any], new: dict[str, Any]) -> tuple[Change, ...]:
    """Every change from one document's data to another's.

    Sections are the same by their title, blocks by their kind and place among their kind, rows by their first cell.
    """
    return tuple(_differences(old, new))


def _differences(old: dict[str, Any], new: dict[str, Any]) -> Iterator[Change]:
    for name in ("title", "subtitle", "page"):
        if old[name] != new[name]:
            yield Change(f"/{name}", old[name], new[name], f"The {name}: {_became(old[name], new[name])}")
    for index, was, now in _paired(old["sections"], new["sections"], lambda section: section["title"]):
        title, at = (now or was)["title"], f"/sections/{index}"
        if was is None or now is None:
            yield _come_or_gone(at, was and title, now and title, f"section “{_line(title)}”")
        else:
            yield from _of_section(at, title, was["blocks"], now["blocks"])


def _of_section(at: str, title: str, old: list[Any], new: list[Any]) -> Iterator[Change]:
    for index, was, now in _paired(old, new, lambda block: block["kind"]):
        kind, where = (now or was)["kind"], f"{at}/blocks/{index}"
        if was is None or now is None:
            yield _come_or_gone(where, was and kind, now and kind, f"{kind} in “{_line(title)}”")
        elif was != now:
            yield from _OF_KIND.get(kind, _of_texts)(where, _line(title), was, now)


def _of_rows(at: str, title: str, old: dict[str, Any], new: dict[str, Any]) -> Iterator[Change]:
    """Of facts and tables: cell by cell, where the columns are the same."""
    columns = new.get("columns", ["", ""])
    if old.get("columns", ["", ""]) != columns:
        yield Change(f"{at}/columns", old["columns"], columns, f"{title}: the table has other columns.")
        return
    for index, was, now in _paired(old["rows"], new["rows"], lambda row: row[0]):
        where, first = f"{at}/rows/{index}", _line((now or was)[0])
        if was is None or now is None:
            yield _come_or_gone(where, was, now, f"line “{first}” in “{title}”")
            continue
        for column, (a, b) in enumerate(zip(was, now, strict=True)):
            if a != b:
                cell = f"{first}, {_line(columns[column])}" if columns[column] else first
                yield Change(f"{where}/{column}", a, b, f"{title}, {cell}: {_became(a, b)}")
    if old.get("note", "") != new.get("note", ""):
        yield Change(f"{at}/note", old.get("note"), new.get("note"), f"{title}: the note reads otherwise.")


def _of_items(at: str, title: str, old: dict[str, Any], new: dict[str, Any]) -> Iterator[Change]:
    a, b = old["items"], new["items"]
    for index in range(max(len(a), len(b))):
        was, now = (items[index] if index < len(items) else None for items in (a, b))
        if was != now:
            told = f"{title}, line {index + 1}: {_became(was or 'none', now or 'none')}"
            yield Change(f"{at}/items/{index}", was, now, told)


def _of_drawing(at: str, title: str, old: dict[str, Any], new: dict[str, Any]) -> Iterator[Change]:
    told = f"{title}: the drawing “{_line(new['caption'] or new['alt'])}” differs."
    for name in sorted(new.keys() - {"kind"}):
        if old[name] != new[name]:
            a, b = (_hashed(block[name]) if name == "svg" else block[name] for block in (old, new))
            yield Change(f"{at}/{name}", a, b, told)
            told = f"{title}: so does its {name.replace('_', ' ')}."


def _of_texts(at: str, title: str, old: dict[str, Any], new: dict[str, Any]) -> Iterator[Change]:
    for name in sorted(new.keys() - {"kind"}):
        if old[name] != new[name]:
            yield Change(f"{at}/{name}", old[name], new[name], f"{title}: {_became(old[name], new[name])}")


_OF_KIND: dict[str, Callable[..., Iterator[Change]]] = {
    "facts": _of_rows,
    "table": _of_rows,
    "steps": _of_items,
    "checklist": _of_items,
    "drawing": _of_drawing,
}


def _paired(old: list[Any], new: list[Any], named: Callable[[Any], Hashable]) -> Iterator[tuple[int, Any, Any]]:
    """What has the same name, and is the first, second, … of it, with its place; None in the list where it is not."""
    was, now = (dict(_keyed(values, named)) for values in (old, new))
    for key in [*now, *(key for key in was if key not in now)]:
        place = now.get(key) or was[key]
        yield place[0], was[key][1] if key in was else None, now[key][1] if key in now else None


def _keyed(values: list[Any], named: Callable[[Any], Hashable]) -> Iterator[tuple[Hashable, tuple[int, Any]]]:
    seen: Counter[Hashable] = Counter()
    for index, value in enumerate(values):
        name = named(value)
        seen[name] += 1
        yield (name, seen[name]), (index, value)


def _come_or_gone(at: str, old: Any, new: Any, what: str) -> Change:
    return Change(at, old, new, f"New: {what}." if old is None else f"Gone: {what}.")


def _became(old: str, new: str) -> str:
    return f"{_line(old)} → {_line(new)}".removesuffix(".") + "."


def _line(text: str) -> str:
    return shortened(text, 80)


def _hashed(svg: str) -> str:
    return "sha256:" + hashlib.sha256(svg.encode()).hexdigest()[:12]
