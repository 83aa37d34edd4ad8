"""A plug-in as a type checker sees it: every line that is marked WRONG is one, and no other."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from optics.core.holes import Receptor
from optics.core.profiles import Profile, flat
from optics.core.reciprocity import PowerLaw
from pinpool.plugins.model import PLUGIN_API_VERSION, Contribution, LogTable, Parameter, Plugin
from pinpool.plugins.protocols import Floats


@dataclass(frozen=True)
class Alike:
    """A profile of its own making."""

    length_mm: float
    shape: str = "flat"
    breaks_mm: tuple[float, ...] = ()

    def at(self, s_mm: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        one = np.ones_like(s_mm)
        return s_mm, 60 * one, 0 * one, -one


class Shapeless:
    length_mm = 9.0


def alike(*, width_mm: float, hole_offset_x_mm: float) -> Alike:
    return Alike(width_mm - hole_offset_x_mm)


def shapeless() -> Shapeless:
    return Shapeless()


def diameter(*, focal_length_mm: float, wavelength_nm: float, subject_distance_mm: float) -> float:
    return float(np.sqrt(focal_length_mm * wavelength_nm * 1e-6 + 0 * subject_distance_mm))


def in_words() -> str:
    return "0.3 mm"


def receptor() -> Receptor:
    return Receptor("blue", "blue", 445.0, (400.0, 500.0), "invented")


def section(*, camera: Any, actor: Any) -> Mapping[str, Any]:
    return {"title": f"{camera} {actor}", "blocks": []}


def table(*, content: bytes, name: str) -> LogTable:
    return LogTable(["note"], [[name, len(content), None]])


def rows() -> list[list[str]]:
    return [["note"]]


films: tuple[Contribution[Profile], ...] = (Contribution("flat", "flat", "invented", flat),)
alikes = (Contribution("alike", "alike", "invented", alike, (Parameter("width", "length", "of the film"),)),)

good = Plugin(
    name="good",
    version="1",
    api_version=PLUGIN_API_VERSION,
    film_planes=(*films, *alikes),
    hole_rules=(Contribution("root", "root", "invented", diameter),),
    receptors=(Contribution("blue", "blue", "invented", receptor),),
    reciprocity_laws=(Contribution("power", "power", "invented", PowerLaw),),
    light_readings=(Contribution("root", "root", "invented", diameter),),
    sheet_sections=(Contribution("note", "note", "invented", section),),
    log_importers=(Contribution("notes", "notes", "invented", table),),
)
wrong = Plugin(
    name="wrong",
    version="1",
    api_version=(1, 0, 0),  # WRONG
    film_planes=(Contribution("shapeless", "shapeless", "invented", shapeless),),  # WRONG
    hole_rules=(Contribution("words", "words", "invented", in_words),),  # WRONG
    receptors=(Contribution("root", "root", "invented", diameter),),  # WRONG
    reciprocity_laws=(Contribution("root", "root", "invented", diameter),),  # WRONG
    light_readings=[Contribution("root", "root", "invented", diameter)],  # WRONG
    sheet_sections=(Contribution("words", "words", "invented", in_words),),  # WRONG
    log_importers=(Contribution("rows", "rows", "invented", rows),),  # WRONG
)
unnamed = Contribution("x", "x", "invented", 5)  # WRONG
misspelt = Parameter("width", "length", "of the film", minimun=1.0)  # WRONG
