"""The checks of a plug-in that go beyond what the service needs to know: each floor contributes those of its points."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from traceback import extract_tb
from types import SimpleNamespace
from typing import Any

from django.apps import apps

from pinpool.http.problems import PluginFailed

from . import registry, validation
from .calling import Late
from .keeping import watched
from .loading import OURS, Entry, find, load_all
from .model import POINTS, Contribution, Plugin

#: Bodies by the name of the contribution they are for, each as an API caller writes it, without the name itself.
Examples = Mapping[str, Sequence[Mapping[str, Any]]]
#: Called with a contribution's name and its examples; gives a sentence for each fault, which says what to change.
Check = Callable[[str, Sequence[Mapping[str, Any]]], Iterable[str]]

_checks: dict[str, tuple[Check, ...]] = watched({})


def contribute(point: str, check: Check) -> None:
    """Add what is checked of every contribution to `point`, from `AppConfig.ready`; it runs with the plug-in active.

    A point may have several checks: each runs where those before it find nothing.
    """
    _checks[point] = (*_checks.get(point, ()), check)


def said(failed: PluginFailed) -> str:
    """A failure as its author needs it: with what was raised, and the last line of theirs that it came by."""
    text, cause = str(failed.detail).removesuffix(registry.ELSEWHERE), failed.__cause__
    if cause is None or isinstance(cause, Late):
        return text
    ours = [Path(config.path) for config in apps.get_app_configs() if config.label.startswith("pinpool")]
    theirs = [f for f in extract_tb(cause.__traceback__) if not any(map(Path(f.filename).is_relative_to, ours))]
    beside = [f for f in theirs if Path(f.filename).parent == Path(theirs[0].filename).parent]
    where = f" ({beside[-1].filename}:{beside[-1].lineno})" if beside else ""
    return f"{text.removesuffix('.')}: {cause}{where}."


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
    for check in _checks.get(point, ()):
        try:
            found = [*check(contribution.name, bodies or [{}])]
        except PluginFailed as fault:
            found = [said(fault)]
        if found:
            yield from found
            return
