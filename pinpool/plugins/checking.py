"""The checks of a plug-in that go beyond what the service needs to know: each floor contributes those of its points."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from types import SimpleNamespace
from typing import Any

from pinpool.http.problems import PluginFailed

from . import registry, validation
from .keeping import watched
from .loading import OURS, Entry, find, load_all
from .model import POINTS, Contribution, Plugin

#: Bodies by the name of the contribution they are for, each as an API caller writes it, without the name itself.
Examples = Mapping[str, Sequence[Mapping[str, Any]]]
#: Called with a contribution's name and its examples; gives a sentence for each fault, which says what to change.
Check = Callable[[str, Sequence[Mapping[str, Any]]], Iterable[str]]

_checks: dict[str, Check] = watched({})


def contribute(point: str, check: Check) -> None:
    """Add what is checked of every contribution to `point`, from `AppConfig.ready`; it runs with the plug-in active."""
    _checks[point] = check


def faults_of(plugin: Any, examples: Examples) -> list[str]:
    """A sentence for each thing about a plug-in that is not sound, tried beside our own; see `pinpool.testing`."""
    entries = load_all([*_ours_but(plugin), _Offered(plugin)])
    if entries[-1].plugin is None:
        return _unloaded(plugin, entries[-1])
    with registry.trying(entries):
        found = [*_strangers(plugin, examples)]
        for point in POINTS:
            for contribution in getattr(plugin, point):
                found += [f"{point} “{contribution.name}”: {each}" for each in _told(point, contribution, examples)]
        now = registry.entries()[-1]
    return list(dict.fromkeys([*found, *([now.reason] if now.plugin is None else [])]))


class _Offered:
    """The entry point that the plug-in's package would have."""

    name = value = "the plug-in"
    dist = SimpleNamespace(name="this package")

    def __init__(self, plugin: Any) -> None:
        self._plugin = plugin

    def load(self) -> Any:
        return self._plugin


def _ours_but(plugin: Any) -> list[Any]:
    return [each for each in find() if each.dist and each.dist.name == OURS and each.load() is not plugin]


def _unloaded(plugin: Any, entry: Entry) -> list[str]:
    """Why a plug-in was not loaded: all of it where that can be told."""
    try:
        found = list(validation.faults_of(plugin)) if isinstance(plugin, Plugin) and entry.state == "invalid" else []
    except Exception:  # noqa: BLE001  (a field may hold anything at all; the entry says so)
        found = []
    return found or [entry.reason]


def _strangers(plugin: Plugin, examples: Examples) -> Iterator[str]:
    names = {c.name for point in POINTS for c in getattr(plugin, point)}
    for name in examples:
        if name.rpartition(".")[2] not in names:
            yield f"examples: “{name}” is none of its contributions: {', '.join(sorted(names))}."


def _told(point: str, contribution: Contribution[Any], examples: Examples) -> Iterator[str]:
    bodies = examples.get(f"{point}.{contribution.name}", examples.get(contribution.name, ()))
    if not bodies and any(parameter.required for parameter in contribution.parameters):
        yield "give examples of its parameters, as a caller of the API writes them."
        return
    check = _checks.get(point)
    try:
        yield from check(contribution.name, bodies or [{}]) if check else ()
    except PluginFailed as fault:
        yield str(fault.detail)
