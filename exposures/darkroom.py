"""What a darkroom takes: the steps of a process, how much of each bath, and how long the negatives queue.

A process (`exposures.processes`) tells of the developer alone; the rest comes from the tables here, as ranges with
their sources. The maker's own sheet goes before any of it.
"""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from optics.core.say import say_time


@dataclass(frozen=True)
class Span:
    """From `low` to `high`, and where that is from."""

    low: float
    high: float
    source: str


_ARMY = "US Army, Laboratory Procedures, subcourse SS0509 (1988), lesson 1 [read]"
_NAVY = "US Navy training manual NAVEDTRA 14209, on tray processing of prints [read]"
_ANCHELL = "S. Anchell, The Darkroom Cookbook, 3rd ed. (2008)"

#: How long paper on a resin-coated base is in each bath, s.
STEPS_S = {
    "develop": Span(60.0, 120.0, f"1 1/2 to 2 min: {_ARMY}; from 1 min: RC papers [memory]"),
    "rinse": Span(10.0, 30.0, "common practice, no source"),
    "stop": Span(5.0, 60.0, f"about 5 s: {_NAVY}; 1 min: {_ARMY}"),
    "fix": Span(60.0, 120.0, f"1 min in one strong rapid bath: Ilford, as told in {_ANCHELL}, p. 107 [read]; "
                             "2 min at most on RC paper [memory]"),
    "wash": Span(120.0, 240.0, "2 to 4 min in running water, RC paper [memory]"),
    "drain": Span(15.0, 15.0, _ARMY),
}  # fmt: skip
#: A sheet of 8 × 10 in, in m²: what makers count capacities in.
SHEET_M2 = 0.2032 * 0.254
#: The area that a litre of working solution is good for, m²: the low end is what is reckoned with.
CAPACITY_M2_PER_L = {
    "develop": Span(1.0, 2.0, "common practice, no source"),
    "stop": Span(1.0, 2.0, "common practice, no source; an indicator bath is spent when its colour turns"),
    "fix": Span(20 * SHEET_M2, 25 * SHEET_M2,
                f"20 sheets of 8 × 10 in with an acid fixer, 25 with an alkaline one: {_ANCHELL}, p. 108 [read]"),
}  # fmt: skip
#: Working solution of a bath where the process does not say, ml. Common practice, no source.
USUAL_VOLUME_ML = 1000.0
#: What the maker's label would say of the two other baths, parts of concentrate + parts of water.
USUAL_DILUTIONS = {"stop": ((1, 19),), "fix": ((1, 9), (1, 4))}
DILUTION_SOURCE = "stop bath 1+19, rapid fixer 1+9 or 1+4 for paper [memory]; the bottle's label goes before it"
#: Warmest and coolest of the usual working temperatures, °C. Common practice, no source.
USUAL_TEMPERATURE_C = (18.0, 24.0)

#: Besides the developer, in this order; a rinse stands between two baths.
_ORDER = ("develop", "rinse", "stop", "rinse", "fix")
_DILUTION = re.compile(r"\s*(\d{1,4}(?:\.\d{1,3})?)\s*\+\s*(\d{1,4}(?:\.\d{1,3})?)\s*")


@dataclass(frozen=True)
class Step:
    """One bath and how long a negative is in it, s, with the time to drain."""

    name: str
    time_s: Span
    drain_s: float

    @property
    def said(self) -> str:
        return say_span(self.time_s)


def say_span(span: Span) -> str:
    """“1 min 30 s”, or “1 min to 2 min”."""
    low, high = say_time(span.low), say_time(span.high)
    return low if low == high else f"{low} to {high}"


def steps_of(process: Mapping[str, Any] | None) -> list[Step]:
    """The baths in order, up to and with the fixer; the wash comes after, for many negatives at once."""
    told = (process or {}).get("time_s")
    develop = STEPS_S["develop"] if told is None else Span(told, told, "the process")
    drain = STEPS_S["drain"].low
    return [
        Step(name, develop if name == "develop" else STEPS_S[name], 0.0 if name == "rinse" else drain)
        for name in _ORDER
    ]


def read_dilution(text: str | None) -> tuple[float, float] | None:
    """Parts of concentrate and of water in “1+9”; None for anything else, such as “1:9”, that is read both ways."""
    found = _DILUTION.fullmatch(text or "")
    if found is None:
        return None
    parts = float(found[1]), float(found[2])
    return parts if parts[0] > 0 else None


@dataclass(frozen=True)
class Bath:
    """One bath for a number of negatives, `volume_ml` of it at each of the `stations`.

    `good_for` is how many negatives one filling of one station takes, `fillings` how often each is made up, `total_ml`
    all of it together. `mixes` are (dilution, concentrate in ml, water in ml) of that, by each dilution that may be
    meant.
    """

    name: str
    volume_ml: float
    stations: int
    good_for: int
    fillings: int
    total_ml: float
    mixes: Sequence[tuple[str, float, float]]
    capacity_m2_per_l: float
    source: str


def baths_for(
    process: Mapping[str, Any] | None,
    *,
    negatives: int,
    negative_m2: float,
    stations: int = 1,
    capacity_m2_per_l: float | None = None,
) -> list[Bath]:
    """Developer, stop bath and fixer for so many negatives of so large an area.

    The process's volume is that of one station's developer and serves for the others too. `capacity_m2_per_l` goes
    before the table's, for all three. A bath too small for a single negative is made up anew for each.
    """
    told = process or {}
    volume_ml = float(told.get("volume_ml") or USUAL_VOLUME_ML)
    found = []
    for name in ("develop", "stop", "fix"):
        usual = CAPACITY_M2_PER_L[name]
        capacity = usual.low if capacity_m2_per_l is None else capacity_m2_per_l
        good_for = max(math.floor(capacity * volume_ml / 1000 / negative_m2 * (1 + 1e-12)), 1)
        fillings = max(math.ceil(math.ceil(negatives / stations) / good_for), 1)
        total = volume_ml * stations * fillings
        found.append(
            Bath(
                name=name,
                volume_ml=volume_ml,
                stations=stations,
                good_for=good_for,
                fillings=fillings,
                total_ml=total,
                mixes=[_mix(parts, total) for parts in _dilutions(name, told.get("dilution"))],
                capacity_m2_per_l=capacity,
                source=usual.source if capacity_m2_per_l is None else "as given",
            )
        )
    return found


def _dilutions(name: str, told: str | None) -> Sequence[tuple[float, float]]:
    if name != "develop":
        return USUAL_DILUTIONS[name]
    found = read_dilution(told)
    return () if found is None else (found,)


def _mix(parts: tuple[float, float], total_ml: float) -> tuple[str, float, float]:
    concentrate = total_ml * parts[0] / (parts[0] + parts[1])
    return f"{parts[0]:g}+{parts[1]:g}", concentrate, total_ml - concentrate


@dataclass(frozen=True)
class Queue:
    """How long negatives take through the baths, s, at the quickest and the slowest; `each_s` is one by itself.

    `every_s` is how often a station lets one out once it is running.
    """

    loads_per_station: int
    each_s: tuple[float, float]
    every_s: tuple[float, float]
    total_s: tuple[float, float]


def queue_for(
    steps: Sequence[Step], *, negatives: int, stations: int, together: int = 1, one_vessel: bool = False
) -> Queue:
    """The time from the first negative in the developer to the last out of the fixer, in closed form.

    All negatives are there when it starts. With trays in a row a load follows the one before it from bath to bath, and
    stays in a bath until the next is free: k loads of a station take Σp + (k − 1)·max p of the steps' times p, since
    all loads are alike. (That it may stay too long is why nobody starts before the longest step allows: at that pace
    no load ever waits.) In `one_vessel`, a tank or drum, each load has it for itself: k·Σp.
    """
    loads = math.ceil(negatives / (stations * together))
    ends = []
    for end in ("low", "high"):
        times = [getattr(step.time_s, end) + step.drain_s for step in steps]
        every = sum(times) if one_vessel else max(times)
        ends.append((sum(times), every, sum(times) + (loads - 1) * every if loads else 0.0))
    each, every, total = zip(*ends, strict=True)
    return Queue(loads, each, every, total)
