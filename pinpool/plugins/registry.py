"""The plug-ins of this process, and calls into them that name the culprit when they go wrong."""

import logging
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from copy import deepcopy
from functools import cache, partial
from types import MappingProxyType
from typing import Any

from pinpool.conf import setting
from pinpool.http.problems import PluginFailed

from . import health
from .calling import Late, outcome_of, within
from .keeping import Kept, parts_of, tables
from .loading import OURS, Entry, find, load_all
from .model import POINTS, Contribution

logger = logging.getLogger(__name__)

#: What a caller is told beside a failure.
ELSEWHERE = " The rest of the service works."
#: What stands in place of the plug-ins installed, where something is tried.
_tried: ContextVar[tuple[tuple[Entry, ...], Kept] | None] = ContextVar("tried", default=None)
#: The calls into other packages that are running now, each by its plug-in's entry.
_running: list[Entry] = []


@cache
def _installed() -> tuple[tuple[Entry, ...], Kept]:
    return _kept(load_all(find()))


def _kept(found: list[Entry]) -> tuple[tuple[Entry, ...], Kept]:
    return tuple(found), Kept(parts_of(entry.plugin for entry in found if entry.plugin))


def loaded() -> tuple[Entry, ...]:
    """Every plug-in found, as it was when it was loaded, once in a process."""
    return (_tried.get() or _installed())[0]


def entries() -> tuple[Entry, ...]:
    """Every plug-in found, as it is now: one that does harm is put aside."""
    return tuple(map(health.seen, loaded()))


@contextmanager
def trying(found: list[Entry]) -> Iterator[None]:
    """Within this block the plug-ins are those `found`, as `load_all` gives them; their records start anew."""
    for entry in found:
        health.forget(entry)
    token = _tried.set(_kept(found))
    try:
        yield
    finally:
        _tried.reset(token)
        for entry in found:
            health.forget(entry)


def listed() -> list[dict[str, Any]]:
    """What is told of every plug-in found: what it contributes, by point, and how it has done."""
    return [
        {
            "name": entry.name,
            "version": entry.version,
            "package": entry.package,
            "state": entry.state,
            "reason": entry.reason,
            "contributes": {
                point: [c.name for c in getattr(entry.plugin, point)]
                for point in POINTS
                if entry.plugin and getattr(entry.plugin, point)
            },
            "failures": health.record_of(entry).failures,
            "last_failure": health.record_of(entry).last_failure,
        }
        for entry in entries()
    ]


def contributions(point: str) -> Mapping[str, Contribution[Any]]:
    """The active contributions to `point`, by name, in the order they were found; it cannot be written to."""
    return MappingProxyType({c.name: c for entry in entries() if entry.plugin for c in getattr(entry.plugin, point)})


def contribution(point: str, name: str) -> Contribution[Any] | None:
    """The active contribution to `point` of this name, if there is one."""
    for entry in loaded():
        for each in getattr(entry.plugin, point, ()):
            if each.name == name and health.seen(entry).plugin:
                return each
    return None


def owner(point: str, name: str) -> str:
    """The plug-in that contributes `name` to `point`."""
    return _found(point, name)[0].name


def _found(point: str, name: str) -> tuple[Entry, Contribution[Any]]:
    """The contribution `name` with the entry it came by, put aside or not; `PluginFailed` where there is none."""
    for entry in (*entries(), *loaded()):
        for contribution in getattr(entry.plugin, point, ()):
            if contribution.name == name:
                return entry, contribution
    raise PluginFailed(missing(point, name))


def from_elsewhere(point: str, name: str) -> str:
    """The plug-in of another package that `name` comes with, to be kept beside it where it is stored; "" for ours."""
    entry, _ = _found(point, name)
    return "" if entry.package == OURS else entry.name


def missing(point: str, name: str, plugin: str = "") -> str:
    """Why a stored `name` that came with `plugin` cannot be called now, or "": it may outlive its plug-in."""
    if contribution(point, name) is not None:
        return ""
    for entry in loaded():
        if any(each.name == name for each in getattr(entry.plugin, point, ())):
            return f"Plug-in {entry.name} is put aside: {health.seen(entry).reason}"
    came = f"it came with {plugin}, so install that again" if plugin else "install again the one it came from"
    return f"No plug-in here offers {point} “{name}”; {came}."


def call(point: str, name: str, /, *, refusals: tuple[type[Exception], ...] = (), **values: Any) -> Any:
    """What a contribution's function makes of `values`; see `run`. Other packages get lists as copies."""
    entry, contribution = _found(point, name)
    if entry.package != OURS:
        values = {key: deepcopy(value) if isinstance(value, list) else value for key, value in values.items()}
    return run(point, name, partial(contribution.function, **values), refusals=refusals)


def run(
    point: str,
    name: str,
    function: Callable[[], Any],
    *,
    refusals: tuple[type[BaseException], ...] = (),
    seconds: float | None = None,
    where: str = "",
) -> Any:
    """What `function` gives, which is a contribution's or calls into what it returned.

    Its `refusals` pass through; anything else it raises becomes a `PluginFailed` that names the plug-in, and what was
    called as `where`. Functions of other packages run in a thread beside this one for at most `seconds`, or
    `PLUGIN_SECONDS`, and change nothing that others contribute.
    """
    entry, _ = _found(point, name)
    if entry.package == OURS:
        made, fault = outcome_of(function)
        refusals = (*refusals, PluginFailed, KeyboardInterrupt)
    else:
        limit = setting("PLUGIN_SECONDS") if seconds is None else seconds
        made, fault = _guarded(entry, point, name, function, seconds=limit, where=where)
    if fault is None:
        return made
    if isinstance(fault, refusals):
        raise fault
    logger.error("Plug-in %s: %s “%s” raised", entry.name, point, name, exc_info=fault)
    raise failure(point, name, f"raised {type(fault).__name__}{where}") from fault


def _guarded(
    entry: Entry, point: str, name: str, function: Callable[[], Any], *, seconds: float, where: str
) -> tuple[Any, BaseException | None]:
    """The outcome of a call into another package, unless it is late, put aside, or changes the registry."""
    now, record = health.seen(entry), health.record_of(entry)
    if now.plugin is None:
        raise PluginFailed(missing(point, name))
    contributed = (_tried.get() or _installed())[1]
    if late_ones := health.late_ones(loaded()):
        _mend(contributed, late_ones)
    beside = Kept([globals(), *tables()])
    _running.append(entry)
    late = None
    try:
        outcome = within(seconds, function)
    except Late as fault:
        late = fault
    finally:
        suspects = list(_running)
        _running.remove(entry)
        mended = [_mend(kept, suspects) for kept in (contributed, beside)]
    if any(mended):
        raise failure(point, name, "was called while somebody changed what others contribute, which was undone")
    if late is not None:
        record.late.append(late.call)
        text = f"has not answered within {setting('PLUGIN_SECONDS'):g} s{where}"
        logger.warning("Plug-in %s: %s “%s” %s", entry.name, point, name, text)
        raise failure(point, name, text) from late
    return outcome


def _mend(kept: Kept, suspects: list[Entry]) -> bool:
    """Whether something had to be mended; who alone can have done it is put aside."""
    if not kept.mend():
        return False
    names = sorted({entry.name for entry in suspects})
    logger.error("What plug-ins contribute was changed, which was undone. Called just then: %s", ", ".join(names))
    if len(names) == 1:
        health.record_of(suspects[0]).tampered = True
    return True


class Returned:
    """Calls into what a contribution returned: together they may take as long as one call."""

    def __init__(self, point: str, name: str) -> None:
        self._point, self._name = point, name
        self._left: float = setting("PLUGIN_SECONDS")

    def __call__(self, function: Callable[[], Any], *, where: str = "", **more: Any) -> Any:
        start = time.perf_counter()
        try:
            return run(self._point, self._name, function, seconds=self._left, where=where, **more)
        finally:
            self._left -= time.perf_counter() - start


def failure(point: str, name: str, what: str) -> PluginFailed:
    """The refusal that says which plug-in did what it must not; it is counted in the plug-in's record."""
    entry, _ = _found(point, name)
    text = f"Plug-in {entry.name}: {point} “{name}” {what}."
    health.record_of(entry).failed(text)
    return PluginFailed(text + ELSEWHERE)
