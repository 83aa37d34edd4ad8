"""What lies on one place of a workshop: its sheet, and cards for the hole that is planned or was made."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from clubs.sheets.camera import SheetCamera, of_camera, of_design
from exposures.pooled import Pooled
from exposures.scopes import camera_key
from exposures.sheets.exposure_card import SUN_CAUTION, card_of, facts_of, light_note, lights_table, rests_on
from exposures.sheets.paper_times import PaperTimes
from exposures.workshops.codes import shown_code
from exposures.workshops.holes import plate_thickness_mm
from exposures.workshops.models import Place, Workshop
from exposures.workshops.preparing import HOLE_CAUTION
from exposures.workshops.tables import LIGHTS
from optics.core.camera_plan import Hole
from optics.core.say import say_f_number

#: The holes beside the planned one that a card has times for, in thirds of a stop of light.
NEIGHBOURS = (-3, -2, -1, 1, 2, 3)
#: What a line has columns for, and how wide they are in ems; the first one is its number.
LINE = {"No.": 0, "When": 5, "EV at ISO 100": 5, "Time given": 7, "Came out (stops + or −)": 9, "Next time": 7}
TO_DO = (
    "Build the camera by its plan and the cutting templates; black paper inside, lid light-tight.",
    "Make the hole, deburr the plate, and measure the hole: count it against itself, or scan it.",
    "Open your place by its code or its address, and put the hole down: then the times are those of your own.",
    "Load one negative in the darkroom, the emulsion towards the hole, and tape the shutter shut.",
    "Read the light, look up the time, expose without touching the camera, and put it down at your place.",
    "Develop it, judge it, and say how many stops it was over or under: the next one is better for it.",
)


def place_sheet(*, place: Place, workshop: Workshop, camera: SheetCamera, address: str, lines: int) -> dict[str, Any]:
    """The sheet that lies on a place; `camera` is the design's.

    `address` is where its code opens it, and goes into a code to scan. A place whose code is withdrawn has neither.
    There are `lines` to write exposures on, for whoever has no phone.
    """
    rows = [
        ["Workshop", f"{workshop.name}, {workshop.held_on:%Y-%m-%d}"],
        ["Place", f"{place.number}" + (f", {place.name}" if place.name else "")],
    ]
    opens: list[dict[str, Any]] = [{"kind": "text", "text": "The code of this place is withdrawn; ask who leads."}]
    if place.withdrawn_at is None:
        rows.append(["Code", shown_code(place.code)])
        alt = f"Opens place {place.number}: write down your hole and your exposures there."
        opens = [{"kind": "code", "text": address, "alt": alt}]
    rows += [
        ["Camera", f"{camera.name}, negative {camera.film_plane.length_mm:.0f} × {camera.film_plane.height_mm:.0f} mm"],
        ["Hole, as planned", f"{camera.hole.diameter_mm:.3g} mm, {say_f_number(camera.f_number)}"],
        ["Paper", workshop.paper.name],
    ]
    keep = "Keep this sheet: whoever has its code can write at this place, and claim the camera later."
    blocks = [
        {"kind": "facts", "rows": rows},
        *opens,
        {"kind": "caution", "text": HOLE_CAUTION},
        {"kind": "steps", "items": list(TO_DO)},
        {"kind": "facts", "rows": [["My name", ""], ["My hole", "\u2003" * 6 + "mm ±" + "\u2003" * 6 + "mm"]]},
        {"kind": "table", "columns": list(LINE), "rows": [_line(number) for number in range(1, lines + 1)]},
        {"kind": "text", "text": keep},
    ]
    return {"title": f"Place {place.number}", "blocks": blocks}


def _line(number: int) -> list[str]:
    """A line to write on: room in every column."""
    return [f"{number}", *("\u2003" * width for width in LINE.values() if width)]


def planned_card(*, camera: SheetCamera, times: PaperTimes, made_at: datetime) -> dict[str, Any]:
    """Times for the hole as planned and for holes that come out larger or smaller: nobody has measured theirs yet."""
    holes = [(part, camera.hole.diameter_mm * 2 ** (part / 6)) for part in sorted((*NEIGHBOURS, 0))]
    columns = [f"{diameter:.3g} mm {say_f_number(camera.focal_length_mm / diameter)}" for _, diameter in holes]
    rows = [
        [f"{reading}", *(_said(times, camera.focal_length_mm / diameter, reading) for _, diameter in holes)]
        for reading, _ in LIGHTS
    ]
    beside = "Each hole lets in a third of a stop more than the one to its left; the planned one is in the middle."
    as_planned, otherwise = lights_table(times, camera), {"kind": "table", "columns": ["EV", *columns], "rows": rows}
    blocks = [
        facts_of(camera),
        {"kind": "text", "text": f"On {times.paper.name}, for the hole as planned"},
        {**as_planned, "note": light_note(as_planned, otherwise)},
        {"kind": "text", "text": "For a hole that came out otherwise: find yours, then go down to the light"},
        {**otherwise, "note": beside},
        rests_on([times], made_at=made_at),
        {"kind": "caution", "text": SUN_CAUTION},
    ]
    return {"title": f"Exposure card of {camera.name}, hole not yet measured", "blocks": blocks}


def _said(times: PaperTimes, f_number: float, reading: int) -> str:
    return times.at(float(reading), f_number=f_number, hole_stops=0.0).said


def measured_cards(
    *, workshop: Workshop, places: Sequence[Place], known: Pooled, made_at: datetime
) -> list[dict[str, Any]]:
    """A card for each place that measured its hole, by number.

    Where the workshop is closed, the place's camera has by its spec the offset that its logs show. The places come
    with their cameras and specs.
    """
    any_camera = PaperTimes(known, workshop.paper)
    cards: list[dict[str, Any]] = []
    for place in places:
        camera = camera_at(place, workshop)
        times = any_camera
        if place.camera is not None and place.camera.spec is not None:
            times = PaperTimes(known, workshop.paper, camera=camera_key(place.camera.spec.pk))
        card = card_of(camera, [times], made_at=made_at)
        cards.append(card | {"title": f"Place {place.number}: {card['title']}"})
    return cards


def camera_at(place: Place, workshop: Workshop) -> SheetCamera:
    """The camera of a place that measured its hole: as registered, or as its design with that hole."""
    design = workshop.design
    if place.camera is not None and place.camera.spec is not None:
        return of_camera(place.camera, wall_thickness_mm=design.wall_thickness_mm, url="")
    name = place.name or design.name
    code, revision = f"place {place.number}", f"place {place.number} of workshop {workshop.pk}"
    made = of_design(design, url="", code=code, name=name, revision=revision)
    diameter, uncertainty = float(place.hole_diameter_mm or 0.0), float(place.hole_uncertainty_mm or 0.0)
    hole = Hole(diameter, uncertainty, plate_thickness_mm(place))
    return replace(made, hole=hole, measured_by=place.hole_measured_by)
