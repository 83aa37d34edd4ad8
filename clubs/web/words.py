"""Values of the API and the trail in words."""

from typing import Any, NamedTuple

#: Keys whose value is a stable name, such as “half_drum”, and no text of somebody's.
NAMES = {"kind", "way", "measured_by"}


class Changed(NamedTuple):
    """One value that differs, in words."""

    what: str
    old: str
    new: str


def said(value: Any) -> str:
    """A value in words: quantities with their unit, objects and lists part by part, a dash for nothing."""
    match value:
        case bool():
            text = "yes" if value else "no"
        case float():
            text = f"{value:.4g}"
        case {"value": int() | float() as size, "unit": str() as unit}:
            text = f"{size:.4g} {unit}"
        case dict():
            text = ", ".join(f"{named(key)} {said_of(key, each)}" for key, each in value.items())
        case list():
            deep = any(isinstance(each, list | dict) for each in value)
            text = ("; " if deep else ", ").join(map(said, value))
        case _:
            text = "" if value is None else str(value)
    return text or "–"


def said_of(key: str, value: Any) -> str:
    """The value of a key, or of a pointer to one, in words."""
    is_name = key.rpartition("/")[2] in NAMES and isinstance(value, str)
    return named(value) if is_name else said(value)


def named(key: str) -> str:
    """A key or a pointer to one: “/film_plane/height” is “film plane, height”."""
    return key.strip("/").replace("_", " ").replace("/", ", ")


def changed(before: Any, after: Any) -> list[Changed]:
    """Value by value what one dictionary of the trail became in another; either may be None."""
    old, new = before or {}, after or {}
    return [Changed(named(key), said_of(key, old.get(key)), said_of(key, new.get(key))) for key in {**old, **new}]
