"""Where the block with the tripod's nut goes, and how to bore it.

The tripod's screw is 1/4 in (ISO 1222, from memory), 6.35 mm exactly; a nut for it is 7/16 in across flats
(ASME B18.2.2, from memory).
"""

import numpy as np

from optics.core.faults import Impossible
from optics.core.film_planes import FilmPlane
from optics.core.wall_opening import PlateSide

from .container import container
from .draft import Draft, at_least, say_mm
from .template import Template

NAMED = ("tripod", "Block for the tripod's nut, and its place")

#: 1/4 in (ISO 1222, from memory) and 7/16 in (ASME B18.2.2, from memory).
SCREW_MM, NUT_FLATS_MM = 25.4 / 4, 25.4 * 7 / 16
#: The block's side, mm, and the least that leaves wood round the nut (common practice, no source).
BLOCK_MM, LEAST_BLOCK_MM = 40.0, 25.0
#: How far centre lines run beyond the block, mm.
CENTRE_REACH_MM = 8.0


def tripod_template(plane: FilmPlane, *, wall_thickness_mm: float = 0.0, plate_side: PlateSide = "inside") -> Template:
    """The container's underside along the hole's axis, seen from below, its front at the top.

    The screw stands half the container's depth behind its front, for balance: depth/2, and the wall's thickness more
    where the plate is inside, since depths count from the plate. The block is square and as large as has room about
    that place, 40 mm at most. Raises `Impossible("no_room_for_block")` where that is under 25 mm. Lengths:
    `front to screw`, `block width`, `block length`, `screw`, `nut across flats`.
    """
    at_least(0.0, wall_thickness_mm=wall_thickness_mm)
    box = container(plane)
    room = box.depth_mm / np.sqrt(2) if box.round else min(box.depth_mm, 2 * min(-box.left_mm, box.right_mm))
    block = min(BLOCK_MM, float(room))
    if block < LEAST_BLOCK_MM:
        raise Impossible(
            "no_room_for_block",
            f"Under the hole, half way back, a block has room {say_mm(room)} wide, and one that holds a tripod's nut "
            f"takes {say_mm(LEAST_BLOCK_MM)}. Stand the camera on a table, or strap it down.",
        )
    screw_y = box.depth_mm / 2 + (wall_thickness_mm if plate_side == "inside" else 0.0)
    half = block / 2
    draft = Draft()
    draft.line("guide", (-half - CENTRE_REACH_MM, 0.0), (half + CENTRE_REACH_MM, 0.0))
    draft.line("centre", (0.0, 0.0), (0.0, screw_y + half + CENTRE_REACH_MM))
    draft.line("centre", (-half - CENTRE_REACH_MM, screw_y), (half + CENTRE_REACH_MM, screw_y))
    draft.rectangle("cut", (-half, screw_y - half, half, screw_y + half))
    draft.circle("cut", 0.0, screw_y, SCREW_MM / 2)
    turn = np.arange(6) * np.pi / 3
    corner = NUT_FLATS_MM / np.sqrt(3)
    nut = [(corner * np.cos(t), screw_y + corner * np.sin(t)) for t in turn]
    draft.line("guide", *nut, closed=True)
    flat = NUT_FLATS_MM / 2
    draft.length("front to screw", screw_y, (0.0, 0.0), (0.0, screw_y))
    draft.length("block width", block, (-half, screw_y - half), (half, screw_y - half))
    draft.length("block length", block, (half, screw_y - half), (half, screw_y + half))
    draft.length("screw", SCREW_MM, (-SCREW_MM / 2, screw_y), (SCREW_MM / 2, screw_y))
    draft.length("nut across flats", NUT_FLATS_MM, (0.0, screw_y - flat), (0.0, screw_y + flat))
    draft.words(0, -CENTRE_REACH_MM, "front edge of the box")
    draft.words(
        0,
        screw_y + half + CENTRE_REACH_MM,
        f"block {say_mm(block, block)}, bore for a 1/4 in screw",
        f"front to screw {say_mm(screw_y)}, seen from below",
    )
    return draft.template(
        NAMED,
        f"Lay it under the box, the thin line at the top along the front, the centre line under the hole. The block "
        f"goes half the depth back ({box.told_by}), where a light box balances; move it if yours is heavier at one "
        "end.",
        "Bore the ring through a block of wood for the 1/4 in screw (ISO 1222, from memory), then sink the nut in the "
        "six-sided outline, 7/16 in across (ASME B18.2.2, from memory). Measure the nut you have; a threaded insert "
        "takes the bore its maker names.",
        "The screw must end in the block: it must not reach through the box's floor.",
        "Caution: clamp the block before you drill, keep hands and sleeves clear, wear eye protection, and follow your "
        "workshop's own rules.",
    )
