"""What is wrong with a plug-in as an object, before anything of it is called: a sentence for each fault."""

import math
import re
from collections.abc import Iterator
from itertools import product
from typing import Any

from pinpool.units import KINDS

from .model import PAIRS, POINTS, Contribution, Parameter, Plugin

_NAME = re.compile(r"[a-z][a-z0-9_]{0,39}")
_KINDS = (*KINDS, *PAIRS, "number", "text")
#: Keys that stand beside a contribution's own in a body.
_RESERVED = {"kind", "law", "height", "hole_offset", "section", "camera", "actor", "contributed_by"}


def faults_of(plugin: Plugin) -> Iterator[str]:
    """A sentence for each thing about a plug-in that is not as the model says."""
    if not _NAME.fullmatch(plugin.name):
        yield "its own name is not of a–z, 0–9 and _, at most 40 long."
    for point in POINTS:
        contributions = getattr(plugin, point)
        if not isinstance(contributions, tuple):
            yield f"{point} is a {type(contributions).__name__}, not a tuple of Contribution."
            return
        for contribution in contributions:
            if not isinstance(contribution, Contribution):
                yield f"{point} holds a {type(contribution).__name__}, not a Contribution."
                return
            where = f"{point} “{contribution.name}”"
            yield from (f"{where}: {fault}" for fault in _contribution_faults(contribution))
    if any(not _required(reading) for reading in plugin.light_readings):
        yield "light_readings: a reading is told by the keys it must have, so it needs a required parameter."


def _contribution_faults(contribution: Contribution[Any]) -> Iterator[str]:
    if not _NAME.fullmatch(contribution.name):
        yield "a name is a–z, 0–9 and _, at most 40 long."
    if not callable(contribution.function):
        yield "its function cannot be called."
    yield from (f"it names no {name}." for name in ("label", "source") if not getattr(contribution, name).strip())
    if not isinstance(contribution.parameters, tuple) or not all(
        isinstance(parameter, Parameter) for parameter in contribution.parameters
    ):
        yield "its parameters are not a tuple of Parameter, or not all Parameter."
        return
    names = [parameter.name for parameter in contribution.parameters]
    yield from (f"there are two parameters “{name}”." for name in sorted({n for n in names if names.count(n) > 1}))
    for parameter in contribution.parameters:
        yield from _parameter_faults(parameter)


def _parameter_faults(parameter: Parameter) -> Iterator[str]:
    if not _NAME.fullmatch(parameter.name) or parameter.name in _RESERVED:
        yield f"a parameter cannot be called “{parameter.name}”."
    if parameter.kind not in _KINDS:
        yield f"“{parameter.kind}” is no kind of parameter; there are {', '.join(_KINDS)}."
    if not isinstance(parameter.description, str):
        yield f"the description of “{parameter.name}” is no text."
    limits = [limit for limit in (parameter.minimum, parameter.maximum) if limit is not None]
    if not all(_is_number(limit) for limit in limits) or limits != sorted(limits):
        yield f"the limits of “{parameter.name}” are not a least and a greatest number."
    if parameter.default is not None and not _is_default(parameter):
        yield f"the default of “{parameter.name}” must be {_default_of(parameter.kind)}."


def _is_default(parameter: Parameter) -> bool:
    default = parameter.default
    if parameter.kind == "text":
        return isinstance(default, str)
    if parameter.kind in PAIRS:
        return isinstance(default, list) and all(len(pair) == 2 and all(map(_is_number, pair)) for pair in default)
    return _is_number(default)


def _default_of(kind: str) -> str:
    """What a default of this kind must be."""
    if kind == "text":
        return "a text"
    if kind in PAIRS:
        return f"a list of pairs of numbers of {KINDS[PAIRS[kind]].canonical}, its canonical unit, such as [[1.0, 2.0]]"
    return f"a number of {KINDS[kind].canonical}, its canonical unit, such as 2.0" if kind in KINDS else "a number"


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def mistaken_reading(plugin: Plugin, others: list[Plugin]) -> str:
    """The fault of a light reading that could not be told from another's by its keys, or ""."""
    theirs = [reading for each in (*others, plugin) for reading in each.light_readings]
    for one, other in product(plugin.light_readings, theirs):
        keys = {parameter.name for parameter in other.parameters}
        if one is not other and (_required(one) <= keys or _required(other) <= _required(one)):
            return f"light_readings “{one.name}”: its keys cannot be told from those of “{other.name}”; rename one."
    return ""


def _required(contribution: Contribution[Any]) -> set[str]:
    return {parameter.name for parameter in contribution.parameters if parameter.required}
