"""What a leader prepares for a workshop: what to bring, how to cut, how much chemistry, and the order of the day."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time
from typing import Any

import numpy as np

from clubs.models import Membership
from clubs.services import check_role
from exposures.darkroom import STEPS_S, Bath, Queue, Step, baths_for, queue_for, steps_of
from exposures.pooled import Pooled, pooled
from exposures.sheets.darkroom_card import (
    CHEMICALS_CAUTION,
    MAINS_CAUTION,
    NAMES,
    WASTE_CAUTION,
    say_mix,
    say_volume,
)
from exposures.sheets.exposure_card import SUN_CAUTION
from exposures.sheets.paper_times import PaperTimes
from exposures.workshops.day import Block, length_s, order_of_day
from exposures.workshops.models import Workshop
from optics.core.faults import Flag, Impossible
from optics.core.film_planes import FilmPlane
from optics.core.say import say_f_number, say_source, say_time
from optics.core.sheet_cuts import CAUTION as BLADE_CAUTION
from optics.core.sheet_cuts import NAMED_SHEETS, SheetCuts, cut_sheet

#: Where neither the leader nor the paper says how large a sheet is.
USUAL_SHEET = "8x10 in"
#: Negatives over and above, as a share: test strips and what falls on the floor. Common practice, no source.
SPARE_SHARE = 0.1
#: Plates for each place: half of the first holes are not kept. Opaque tape for each place, m. Design judgement.
PLATES_EACH, TAPE_EACH_M = 1.5, 2.0
#: Of the black paper, what is cut off. Design judgement.
LINER_LOST_SHARE = 0.2
#: A longer day than this is doubted, s.
LONG_DAY_S = 8 * 3600.0

HOLE_CAUTION = "Needles, awls and shim cut and prick: work on a board, away from the hand, and deburr every plate."


@dataclass(frozen=True)
class Asked:
    """What a leader may choose; None where it follows from the workshop."""

    negatives_per_place: int = 4
    spares: int | None = None
    sheet: str | None = None
    starts: time = time(10, 0)
    ev100: float = 13.0
    building_s: float = 3600.0
    capacity_m2_per_l: float | None = None
    together: int = 1


@dataclass(frozen=True)
class Thing:
    """Something to bring: how much of it, and why so much."""

    what: str
    amount: str
    text: str


@dataclass(frozen=True)
class Preparation:
    """All of it, lengths in mm, times in s. `exposure_s` is None where no time can be told.

    `sheets_short` is what the stock of the paper lacks, None where nobody counted it.
    """

    workshop: Workshop
    asked: Asked
    places: int
    negatives: int
    spares: int
    negative_mm: tuple[float, float]
    sheet_mm: tuple[float, float]
    cuts: SheetCuts
    sheets: int
    sheets_short: int | None
    liner_m2: float
    steps: Sequence[Step]
    baths: Sequence[Bath]
    queue: Queue
    round_queue: Queue
    f_number: float
    exposure_s: float | None
    bring: Sequence[Thing]
    day: Sequence[Block]
    cautions: Sequence[str]
    flags: Sequence[Flag]


def prepare(
    *, actor: Membership, workshop: Workshop, asked: Asked, places: int, known: Pooled | None = None
) -> Preparation:
    """What a workshop of so many places takes, reckoned from its design, paper and process.

    Raises `Impossible` with `field` “sheet” where no negative can be cut from the sheet.
    """
    check_role(membership=actor, action="read_workshops")
    design, paper, film = workshop.design, workshop.paper, workshop.design.as_film_plane()
    negatives = places * asked.negatives_per_place
    spares = math.ceil(SPARE_SHARE * negatives - 1e-9) if asked.spares is None else asked.spares
    negative_mm = film.length_mm, film.height_mm
    sheet_mm = _sheet_of(workshop, asked.sheet)
    cuts = _cut(sheet_mm, negative_mm)
    sheets = math.ceil((negatives + spares) / cuts.count)
    short = None if paper.sheets_left is None else max(sheets - paper.sheets_left, 0)
    steps = steps_of(workshop.process)
    worked: dict[str, Any] = {
        "stations": workshop.stations,
        "together": asked.together,
        "one_vessel": _one_vessel(workshop),
    }
    round_queue = queue_for(steps, negatives=places, **worked)
    f_number = design.focal_length_mm / design.hole_diameter_mm
    times = PaperTimes(known or pooled(workshop.club), paper)
    exposure_s = times.at(asked.ev100, f_number=f_number, hole_stops=0.0).time_s
    exposure_s = exposure_s if exposure_s is not None and np.isfinite(exposure_s) and exposure_s < 86_400 else None
    day = order_of_day(
        starts=datetime.combine(workshop.held_on, asked.starts),
        places=places,
        stations=workshop.stations,
        rounds=asked.negatives_per_place,
        building_s=asked.building_s,
        exposure_s=exposure_s or 0.0,
        developing_s=round_queue.total_s[1],
        washing_s=STEPS_S["wash"].high,
    )
    found: dict[str, Any] = {
        "workshop": workshop,
        "asked": asked,
        "places": places,
        "negatives": negatives,
        "spares": spares,
        "negative_mm": negative_mm,
        "sheet_mm": sheet_mm,
        "cuts": cuts,
        "sheets": sheets,
        "sheets_short": short,
        "liner_m2": places * liner_m2(film) * (1 + LINER_LOST_SHARE),
        "steps": steps,
        "baths": baths_for(
            workshop.process,
            negatives=negatives + spares,
            negative_m2=negative_mm[0] * negative_mm[1] / 1e6,
            stations=workshop.stations,
            capacity_m2_per_l=asked.capacity_m2_per_l,
        ),
        "queue": queue_for(steps, negatives=negatives, **worked),
        "round_queue": round_queue,
        "f_number": f_number,
        "exposure_s": exposure_s,
        "day": day,
        "cautions": (HOLE_CAUTION, BLADE_CAUTION, CHEMICALS_CAUTION, MAINS_CAUTION, WASTE_CAUTION, SUN_CAUTION),
    }
    return Preparation(**found, bring=_bring(found), flags=_flags(found))


def liner_m2(film: FilmPlane) -> float:
    """About how much black paper one camera's inside takes, in m²: the walls of the box that holds hole and film."""
    columns = film.columns(np.linspace(-film.length_mm / 2, film.length_mm / 2, 257))
    wide, deep, high = float(np.ptp(columns.x_mm)), float(columns.z_mm.max()), film.height_mm
    return 2 * (wide * deep + wide * high + deep * high) / 1e6


def _sheet_of(workshop: Workshop, name: str | None) -> tuple[float, float]:
    if name is not None:
        return NAMED_SHEETS[name]
    paper = workshop.paper
    if paper.width_mm is None or paper.height_mm is None:
        return NAMED_SHEETS[USUAL_SHEET]
    return paper.width_mm, paper.height_mm


def _cut(sheet_mm: tuple[float, float], negative_mm: tuple[float, float]) -> SheetCuts:
    (wide, high), (width, height) = sheet_mm, negative_mm
    try:
        return cut_sheet(sheet_width_mm=wide, sheet_height_mm=high, piece_width_mm=width, piece_height_mm=height)
    except Impossible as fault:
        raise Impossible(fault.code, str(fault), "sheet") from None


def _one_vessel(workshop: Workshop) -> bool:
    return (workshop.process or {}).get("method") in {"tank", "rotary"}


def _bring(found: dict[str, Any]) -> list[Thing]:
    """The shopping list in words; chemistry by its baths."""
    places, cuts, paper = found["places"], found["cuts"], found["workshop"].paper
    plates = math.ceil(PLATES_EACH * places)
    stock = found["sheets_short"]
    has = (
        ""
        if stock is None
        else f"; the club has {paper.sheets_left}, so buy {stock}"
        if stock
        else "; the club has them"
    )
    (wide, high), (width, height) = found["sheet_mm"], found["negative_mm"]
    stations, dilution = found["workshop"].stations, (found["workshop"].process or {}).get("dilution")
    each_station = f" at each of {stations} stations" if stations > 1 else ""
    return [
        Thing(
            f"Sheets of {paper.name}",
            f"{found['sheets']} of {wide:.4g} × {high:.4g} mm",
            f"{cuts.count} negatives of {width:.4g} × {height:.4g} mm from each, for {found['negatives']} and "
            f"{found['spares']} spare{has}. Cut them under the safelight before the day.",
        ),
        Thing("Hole plates", f"{plates}", f"One for each of {places} places and half as many again, with needles."),
        Thing("Opaque tape", f"{TAPE_EACH_M * places:g} m", f"{TAPE_EACH_M:g} m a place: plate, lid and shutter."),
        Thing(
            "Black paper",
            f"{found['liner_m2']:.2g} m²",
            "About, for every camera inside: the walls of the box that holds hole and film, and a fifth cut off.",
        ),
        *(_bath(bath, dilution) for bath in found["baths"]),
        Thing("Trays or tanks", f"{3 * stations}", f"Three baths{each_station}; two more for rinsing."),
        Thing(
            "Against harm", f"{max(2 * stations, 2)} sets", "Gloves, goggles, apron; first-aid kit; bottle for fixer."
        ),
    ]


def _bath(bath: Bath, dilution: str | None) -> Thing:
    fillings = f"{bath.fillings} filling{'' if bath.fillings == 1 else 's'} of {say_volume(bath.volume_ml)} a station"
    text = (
        f"{say_mix(bath, dilution)}. {fillings}, each good for {bath.good_for} negatives ({say_source(bath.source)})."
    )
    return Thing(NAMES[bath.name], f"{say_volume(bath.total_ml)} working solution", text)


def _flags(found: dict[str, Any]) -> tuple[Flag, ...]:
    flags = list(found["cuts"].flags)
    if found["exposure_s"] is None:
        f_number, ev100 = say_f_number(found["f_number"]), found["asked"].ev100
        text = f"No time within a day can be told for {f_number} at EV {ev100:g}; the day leaves none for exposing."
        flags.append(Flag("no_time", text))
    long = length_s(found["day"])
    if long > LONG_DAY_S:
        text = f"The day takes {say_time(long)}: fewer negatives a place, or more stations, make it shorter."
        flags.append(Flag("long_day", text))
    if found["sheets_short"]:
        flags.append(Flag("paper_short", f"The club's stock is {found['sheets_short']} sheets short."))
    return tuple(flags)
