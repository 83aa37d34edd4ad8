"""The plug-ins of this process, and calls into them that name the culprit when they go wrong."""

import logging
import time
from functools import cache
from typing import Any

from pinpool.conf import setting
from pinpool.http.problems import PluginFailed

from .loading import Entry, find, load_all
from .model import Contribution

logger = logging.getLogger(__name__)


@cache
def entries() -> tuple[Entry, ...]:
    """Every plug-in found, loaded once in a process."""
    return tuple(load_all(find()))


def contributions(point: str) -> dict[str, Contribution]:
    """The active contributions to `point`, by name, in the order they were found."""
    return {c.name: c for entry in entries() if entry.plugin for c in getattr(entry.plugin, point)}


def owner(point: str, name: str) -> str:
    """The plug-in that contributes `name` to `point`."""
    return next(e.name for e in entries() if e.plugin and any(c.name == name for c in getattr(e.plugin, point)))


def call(point: str, name: str, *, refusals: tuple[type[Exception], ...] = (), **values: Any) -> Any:
    """Call a contribution's function with `values`.

    Its `refusals` pass through; anything else it raises becomes a `PluginFailed` that names it. A call slower than
    `PLUGIN_SECONDS` is logged with its name.
    """
    contribution = contributions(point).get(name)
    if contribution is None:  # a stored name may outlive its plug-in
        raise PluginFailed(f"No plug-in here offers {point} “{name}”; install again the one it came from.")
    start = time.perf_counter()
    try:
        return contribution.function(**values)
    except refusals:
        raise
    except (Exception, SystemExit) as fault:
        logger.exception("Plug-in %s: %s “%s” raised", owner(point, name), point, name)
        raise failure(point, name, f"raised {type(fault).__name__}") from fault
    finally:
        took = time.perf_counter() - start
        if took > setting("PLUGIN_SECONDS"):
            logger.warning("Plug-in %s: %s “%s” took %.1f s", owner(point, name), point, name, took)


def failure(point: str, name: str, what: str) -> PluginFailed:
    """The refusal that says which plug-in did what it must not."""
    return PluginFailed(f"Plug-in {owner(point, name)}: {point} “{name}” {what}. The rest of the service works.")
