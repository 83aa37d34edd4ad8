"""The card that hangs in the darkroom: baths, times and volumes of a process, and the cautions that go with them."""

from collections.abc import Mapping, Sequence
from typing import Any

from exposures.darkroom import (
    DILUTION_SOURCE,
    STEPS_S,
    USUAL_TEMPERATURE_C,
    Bath,
    baths_for,
    say_span,
    steps_of,
)
from exposures.processes import METHODS
from optics.core.say import say_source, say_time

NAMES = {"develop": "Developer", "rinse": "Water rinse", "stop": "Stop bath", "fix": "Fixer", "wash": "Wash"}
VESSELS = dict(zip(METHODS, ("trays in a row", "a rotary drum", "a tank"), strict=True))

CHEMICALS_CAUTION = (
    "Developers irritate skin and eyes and can make one allergic; acid stop baths irritate the airways. Ventilate, "
    "wear nitrile gloves, splash goggles and an apron, and neither eat nor drink here. Pour acid into water, never "
    "water into acid. Read the maker's safety data sheet before you open a bottle, and follow your local codes."
)
MAINS_CAUTION = (
    "Keep mains electricity away from wet hands and from the wet side of the room: lamps, timers and warmers stand on "
    "the dry side, on an outlet with a residual-current device. Wiring is for a licensed electrician."
)
WASTE_CAUTION = (
    "Used fixer carries silver, and so does some of the water after it: collect it in a marked bottle and ask your "
    "local waste authority, since rules differ. Nothing goes into a drink bottle. (US EPA, EPA530-K-99-002)"
)
READY = (
    "Baths in this order from the dry side: developer, water, stop bath, water, fixer, wash; tongs for each",
    "Baths mixed, at their temperature and covered until they are needed; thermometer and timer beside them",
    "Safelight of the paper's own kind on, every other light out, door shut and marked",
    "Fan running, water and an eye-wash bottle within reach, towel for dry hands",
    "Bottle for used fixer marked and open",
)


def darkroom_card(
    *,
    process: Mapping[str, Any] | None,
    negatives: int,
    negative_mm: tuple[float, float],
    stations: int = 1,
    capacity_m2_per_l: float | None = None,
) -> dict[str, Any]:
    """The section for so many negatives of width × height in mm, developed at so many `stations` side by side."""
    width, height = negative_mm
    baths = baths_for(
        process,
        negatives=negatives,
        negative_m2=width * height / 1e6,
        stations=stations,
        capacity_m2_per_l=capacity_m2_per_l,
    )
    blocks: list[dict[str, Any]] = [
        {"kind": "caution", "text": CHEMICALS_CAUTION},
        {"kind": "facts", "rows": _facts(process or {}, negatives, negative_mm, stations)},
        {"kind": "checklist", "items": list(READY)},
        {"kind": "caution", "text": MAINS_CAUTION},
        baths_table(baths, (process or {}).get("dilution")),
        {"kind": "steps", "items": _steps(process)},
        {"kind": "caution", "text": WASTE_CAUTION},
        {"kind": "break"},
        _sources(process, baths),
    ]
    return {"title": "Darkroom card", "blocks": blocks}


def _facts(
    process: Mapping[str, Any], negatives: int, negative_mm: tuple[float, float], stations: int
) -> list[list[str]]:
    method = process.get("method") or METHODS[0]
    vessels = VESSELS[method] + (f", {stations} side by side" if stations > 1 else "")
    rows = [
        ["Negatives", f"{negatives} of {negative_mm[0]:.0f} × {negative_mm[1]:.0f} mm"],
        ["Developer", process.get("developer") or "as its maker says"],
        ["Dilution", process.get("dilution") or "as its maker says"],
        ["Temperature", _temperature(process)],
        ["Worked in", vessels],
    ]
    rows += [[name.title(), str(process[name])] for name in ("agitation", "note") if process.get(name)]
    return rows


def _temperature(process: Mapping[str, Any]) -> str:
    told = process.get("temperature_c")
    if told is not None:
        return f"{told:.3g} °C, all baths alike"
    low, high = USUAL_TEMPERATURE_C
    return f"{low:g} to {high:g} °C, all baths alike (common practice, no source)"


def baths_table(baths: Sequence[Bath], dilution: str | None) -> dict[str, Any]:
    """How much of each bath, how to mix it and for how many negatives it is good."""
    rows = []
    for bath in baths:
        stations = f" at each of {bath.stations} stations" if bath.stations > 1 else ""
        times = "once" if bath.fillings == 1 else f"{bath.fillings} times"
        volume, good_for = f"{say_volume(bath.volume_ml)}{stations}, {times}", f"{bath.good_for} negatives"
        rows.append([NAMES[bath.name], volume, say_mix(bath, dilution), good_for])
    return {
        "kind": "table",
        "columns": ["Bath", "Working solution", "All fillings together", "One filling of one station"],
        "rows": rows,
        "note": "The label on the bottle goes before this table.",
    }


def say_mix(bath: Bath, dilution: str | None) -> str:
    """“1+9: 100 ml + 900 ml water” by each dilution that may be meant; `dilution` is the developer's as written."""
    mixes = [f"{name}: {say_volume(part)} + {say_volume(water)} water" for name, part, water in bath.mixes]
    told = f"{dilution}: see" if dilution and bath.name == "develop" else "See"
    return " or ".join(mixes) or f"{told} its label"


def say_volume(volume: float) -> str:
    """“250 ml”, “1.5 l”, “1200 l”."""
    if volume < 999.5:
        return f"{volume:.3g} ml"
    return f"{volume / 1000:.3g} l" if volume < 999_500 else f"{volume / 1000:.0f} l"


def _steps(process: Mapping[str, Any] | None) -> list[str]:
    """What to do, in order, with its time."""
    agitation = (process or {}).get("agitation") or "rock gently all the time"
    drain = say_time(STEPS_S["drain"].low)
    after = f"Drain {drain} by one corner."
    doing = {
        "develop": f"Slide the paper in quickly, all of it wetted at once; {agitation}. {after}",
        "rinse": "Move it about.",
        "stop": f"Rock it. {after}",
        "fix": f"Rock it. {after} White light only when every negative is in the fixer and the paper box is shut.",
    }
    items = [f"{NAMES[step.name]}, {step.said}. {doing[step.name]}" for step in steps_of(process)]
    items.append(f"{NAMES['wash']}, {say_span(STEPS_S['wash'])}. Running water, or change it several times.")
    return [*items, "Dry: wipe both sides and hang or lay it face up. Wash your hands; wipe up what was spilt."]


def _sources(process: Mapping[str, Any] | None, baths: list[Bath]) -> dict[str, Any]:
    """Where every figure that the process does not give is from."""
    rows = [[f"{NAMES[step.name]}, {step.said}", step.time_s.source] for step in steps_of(process)]
    rows += [
        [f"{NAMES['wash']}, {say_span(STEPS_S['wash'])}", STEPS_S["wash"].source],
        [f"Draining, {say_time(STEPS_S['drain'].low)}", STEPS_S["drain"].source],
    ]
    rows += [[f"{NAMES[bath.name]}, {bath.capacity_m2_per_l:.2g} m² of paper a litre", bath.source] for bath in baths]
    rows.append(["Mixing", DILUTION_SOURCE])
    rows = [[figure, say_source(source)] for figure, source in rows]
    rows = [row for index, row in enumerate(rows) if row not in rows[:index]]
    note = "The maker's own sheet for your paper and baths goes before every figure here."
    return {"kind": "table", "columns": ["Figure", "Where it is from"], "rows": rows, "note": note}
