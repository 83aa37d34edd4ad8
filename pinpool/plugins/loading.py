"""Find, load, validate: three steps, and a sentence for whatever goes wrong at each."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from difflib import get_close_matches
from importlib.metadata import EntryPoint, entry_points
from operator import index
from typing import Any, Literal, Protocol

from pinpool.conf import setting

from .calling import Late, outcome_of, within
from .keeping import Kept, parts_of, tables
from .model import ENTRY_POINT_GROUP, PLUGIN_API_VERSION, POINTS, Plugin
from .validation import faults_of, mistaken_reading

State = Literal["active", "incompatible", "invalid", "failed"]

#: The package whose plug-ins come with the service: they are trusted as the rest of it is.
OURS = "pinpool"


class Offer(Protocol):
    """What is loaded of an entry point."""

    @property
    def name(self) -> str: ...
    @property
    def value(self) -> str: ...
    @property
    def dist(self) -> Any: ...
    def load(self) -> Any: ...


@dataclass(frozen=True)
class Entry:
    """One entry point and what became of it; `plugin` only where `state` is active."""

    name: str
    package: str
    version: str
    state: State
    reason: str
    plugin: Plugin | None = None


def find() -> list[EntryPoint]:
    """Every entry point of the group; ours first, then by name."""
    found = entry_points(group=ENTRY_POINT_GROUP)
    return sorted(found, key=lambda entry: (_package(entry) != OURS, entry.name))


def misnamed() -> list[EntryPoint]:
    """Every entry point of a group that was probably meant for ours, which nothing reads."""
    groups = entry_points().groups - {ENTRY_POINT_GROUP}
    near = {*get_close_matches(ENTRY_POINT_GROUP, groups, n=len(groups) or 1, cutoff=0.8)}
    near |= {group for group in groups if group.partition(".")[0] == OURS}
    return [entry for group in sorted(near) for entry in entry_points(group=group)]


def load_all(found: Iterable[Offer]) -> list[Entry]:
    """Load and validate each; what is already contributed makes the later plug-in invalid that takes or changes it."""
    entries: list[Entry] = []
    for entry_point in found:
        before = [entry.plugin for entry in entries if entry.plugin]
        kept = Kept([*parts_of(before), *tables()])
        entry = _loaded(entry_point)
        wrong = "changed what others contribute, which was undone." if kept.mend() else _clash(entry, entries)
        if wrong:
            entry = replace(entry, state="invalid", reason=f"{entry.package}: {wrong}", plugin=None)
        entries.append(entry)
    return entries


def _clash(entry: Entry, before: list[Entry]) -> str:
    """What keeps a plug-in from standing beside those loaded before it, or ""."""
    if entry.plugin is None:
        return ""
    taken = {name: f"{other.package}, {other.name}" for other in before for name in _names(other)}
    names = _names(entry)
    for name in names:
        if name in taken or names.count(name) > 1:
            return f"{name[0]}: the name “{name[1]}” is already taken by {taken.get(name, 'itself')}."
    return mistaken_reading(entry.plugin, [other.plugin for other in before if other.plugin])


def _names(entry: Entry) -> list[tuple[str, str]]:
    if entry.plugin is None:
        return []
    return [("plug-ins", entry.name), *((point, c.name) for point in POINTS for c in getattr(entry.plugin, point))]


def _loaded(entry_point: Offer) -> Entry:
    """The entry of a plug-in, whatever importing it does and however long that takes."""
    package = _package(entry_point)
    if package == OURS:
        return _load(entry_point)
    seconds = setting("PLUGIN_IMPORT_SECONDS")
    failed = Entry(entry_point.name, package, "", "failed", "")
    try:
        entry, fault = within(seconds, lambda: _load(entry_point))
    except Late:
        return replace(failed, reason=f"{package}: importing {entry_point.value} took more than {seconds:g} s.")
    if fault is not None:
        return replace(failed, reason=f"{package}: what {entry_point.value} is cannot be read: {fault!r}.")
    return entry


def _load(entry_point: Offer) -> Entry:
    package = _package(entry_point)
    failed = Entry(entry_point.name, package, "", "failed", "")
    plugin, fault = outcome_of(entry_point.load)
    if fault is not None:
        return replace(failed, reason=f"{package}: importing {entry_point.value} raised {fault!r}.")
    if not isinstance(plugin, Plugin):
        kind = type(plugin).__name__
        return replace(failed, state="invalid", reason=f"{package}: {entry_point.value} is a {kind}, not a Plugin.")
    entry = replace(failed, name=str(plugin.name), version=str(plugin.version))
    try:
        major, minor = map(index, plugin.api_version)
    except (TypeError, ValueError):
        return replace(entry, state="invalid", reason=f"{package}: api_version must be two numbers, such as (1, 0).")
    if major != PLUGIN_API_VERSION[0] or minor > PLUGIN_API_VERSION[1]:
        ours = ".".join(map(str, PLUGIN_API_VERSION))
        reason = f"{package}: written for plug-in API {major}.{minor}; this service offers {ours}."
        return replace(entry, state="incompatible", reason=reason)
    try:
        wrong = next(faults_of(plugin), None)
    except Exception as fault:  # noqa: BLE001  (a field may hold anything at all)
        wrong = f"what it contributes cannot be read: {fault!r}."
    if wrong:
        return replace(entry, state="invalid", reason=f"{package}: {wrong}")
    return replace(entry, state="active", reason="Loaded.", plugin=plugin)


def _package(entry_point: Offer) -> str:
    return str(entry_point.dist.name) if entry_point.dist else "unknown package"
