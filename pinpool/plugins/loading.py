"""Find, load, validate: three steps, and a sentence for whatever goes wrong at each."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from importlib.metadata import EntryPoint, entry_points
from operator import index
from typing import Literal

from pinpool.units import KINDS

from .model import ENTRY_POINT_GROUP, PLUGIN_API_VERSION, POINTS, Contribution, Parameter, Plugin

State = Literal["active", "incompatible", "invalid", "failed"]

_NAME = re.compile(r"[a-z][a-z0-9_]{0,39}")
_KINDS = (*KINDS, "number", "text", "points", "rows")
#: Keys that stand beside a contribution's own in a body.
_RESERVED = {"kind", "law", "height", "hole_offset", "section", "camera", "actor"}


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
    return sorted(found, key=lambda entry: (_package(entry) != "pinpool", entry.name))


def load_all(found: Iterable[EntryPoint]) -> list[Entry]:
    """Load and validate each; a name already contributed makes the later plug-in invalid."""
    entries: list[Entry] = []
    taken: dict[tuple[str, str], str] = {}
    for entry_point in found:
        entry = _load(entry_point)
        if entry.plugin is not None:
            names = [("plug-ins", entry.name)]
            names += [(point, c.name) for point in POINTS for c in getattr(entry.plugin, point)]
            clash = next((name for name in names if name in taken or names.count(name) > 1), None)
            if clash:
                by = taken.get(clash, "itself")
                reason = f"{entry.package}: {clash[0]}: the name “{clash[1]}” is already taken by {by}."
                entry = replace(entry, state="invalid", reason=reason, plugin=None)
            else:
                taken.update(dict.fromkeys(names, f"{entry.package}, {entry.name}"))
        entries.append(entry)
    return entries


def _load(entry_point: EntryPoint) -> Entry:
    package = _package(entry_point)
    failed = Entry(entry_point.name, package, "", "failed", "")
    try:
        plugin = entry_point.load()
    except (Exception, SystemExit) as fault:  # noqa: BLE001  (a stranger's import may do anything; it must harm nothing)
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
        wrong = next(_faults(plugin), None)
    except Exception as fault:  # noqa: BLE001  (a field may hold anything at all)
        wrong = f"what it contributes cannot be read: {fault!r}."
    if wrong:
        return replace(entry, state="invalid", reason=f"{package}: {wrong}")
    return replace(entry, state="active", reason="Loaded.", plugin=plugin)


def _faults(plugin: Plugin) -> Iterator[str]:
    """A sentence for each thing about a plug-in that is not as the model says."""
    if not _NAME.fullmatch(plugin.name):
        yield "its own name is not of a–z, 0–9 and _, at most 40 long."
    for point in POINTS:
        for contribution in getattr(plugin, point):
            if not isinstance(contribution, Contribution):
                yield f"{point} holds a {type(contribution).__name__}, not a Contribution."
                return
            where = f"{point} “{contribution.name}”"
            if not _NAME.fullmatch(contribution.name):
                yield f"{where}: a name is a–z, 0–9 and _, at most 40 long."
            if not callable(contribution.function):
                yield f"{where}: its function cannot be called."
            if not contribution.label.strip() or not contribution.source.strip():
                yield f"{where}: it names no label or no source."
            yield from (f"{where}: {fault}" for fault in _parameter_faults(contribution))


def _parameter_faults(contribution: Contribution) -> Iterator[str]:
    for parameter in contribution.parameters:
        if not isinstance(parameter, Parameter):
            yield "its parameters are not all Parameter."
        elif not _NAME.fullmatch(parameter.name) or parameter.name in _RESERVED:
            yield f"a parameter cannot be called “{parameter.name}”."
        elif parameter.kind not in _KINDS:
            yield f"“{parameter.kind}” is no kind of parameter; there are {', '.join(_KINDS)}."


def _package(entry_point: EntryPoint) -> str:
    return entry_point.dist.name if entry_point.dist else "unknown package"
