"""What a plug-in is: one object that names itself and what it contributes.

A package offers it by an entry point in the group `pinpool.plugins`; our own parts use the same door.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

import numpy as np

from pinpool.units import KINDS

from .protocols import Law, Profile, Receptor, Section

#: Raised by one in the first place when a plug-in written for the older one would break.
PLUGIN_API_VERSION = (1, 0)

ENTRY_POINT_GROUP = "pinpool.plugins"

#: Where contributions go, and what their function returns; `protocols.py` says what those are.
#: What a function cannot make of sound parameters or of a file it refuses by raising `optics.core.faults.Impossible`
#: with a code and a sentence for the person who asked.
POINTS = {
    "film_planes": "function(**parameters, hole_offset_x_mm) -> Profile",
    "hole_rules": "function(*, focal_length_mm, wavelength_nm, subject_distance_mm) -> float, a diameter in mm",
    "receptors": "function() -> Receptor",
    "reciprocity_laws": "function(**parameters) -> Law",
    "light_readings": "function(**parameters) -> float, the EV at ISO 100",
    "sheet_sections": "function(*, camera, actor, **parameters) -> Section",
    "log_importers": "function(*, content: bytes, name: str) -> LogTable",
}


@dataclass(frozen=True)
class LogTable:
    """What a log importer makes of a file: a table that then goes the way of any spreadsheet.

    `columns` are a log's fields as the API's import calls them, such as `camera`, `paper`, `taken_at`, `reading.ev`,
    `exposure_time`, `result.judged_stops` or `note`; each of `rows` has one cell for each, None where nothing is known.
    """

    columns: Sequence[str]
    rows: Iterable[Sequence[str | int | float | None]]


#: Kinds that are lists of pairs, and the kind of quantity in each.
PAIRS = {"points": "length", "rows": "time"}


@dataclass(frozen=True)
class Parameter:
    """One named input of a contribution.

    `kind` is a kind of quantity (`length`, `time`, `angle`, `illuminance`, …), or `number`, `text`, `points` (lists
    of two lengths) or `rows` (lists of two times). `name` is the key a caller writes; the function receives it with
    its unit's suffix (`width` → `width_mm`; times `_s`, angles `_rad`). Limits and default are numbers of the kind's
    canonical unit (angles deg), a default of `points` or `rows` lists of pairs of them.
    """

    name: str
    kind: str
    description: str
    minimum: float | None = None
    maximum: float | None = None
    exclusive_minimum: bool = False
    required: bool = True
    default: Any = None

    @property
    def default_written(self) -> Any:
        """The default as a caller of the API writes it, such as “2 s”; None without one."""
        if self.default is None or self.kind in {"number", "text"}:
            return self.default
        if self.kind in PAIRS:
            return [[_written(each, PAIRS[self.kind]) for each in pair] for pair in self.default]
        return _written(self.default, self.kind)


def _written(value: float, kind: str) -> str:
    return f"{np.format_float_positional(value, trim='-')} {KINDS[kind].canonical}"


Made_co = TypeVar("Made_co", covariant=True)


@dataclass(frozen=True, eq=False)
class Contribution(Generic[Made_co]):
    """A named function with its declared parameters and its source; `function` takes keywords only.

    With `needs_actor` the function also receives `actor`, the person asking, who may be anonymous. A contribution is
    equal to itself alone.
    """

    name: str
    label: str
    source: str
    function: Callable[..., Made_co]
    parameters: tuple[Parameter, ...] = ()
    needs_actor: bool = False


@dataclass(frozen=True)
class Plugin:
    """What an entry point names."""

    name: str
    version: str
    api_version: tuple[int, int]
    film_planes: tuple[Contribution[Profile], ...] = ()
    hole_rules: tuple[Contribution[float], ...] = ()
    receptors: tuple[Contribution[Receptor], ...] = ()
    reciprocity_laws: tuple[Contribution[Law], ...] = ()
    light_readings: tuple[Contribution[float], ...] = ()
    sheet_sections: tuple[Contribution[Section], ...] = ()
    log_importers: tuple[Contribution[LogTable], ...] = ()
