"""The sleeve that keeps light out of the joint between box and lid."""

from itertools import accumulate, pairwise

import numpy as np

from optics.core.film_planes import FilmPlane

from .container import container
from .draft import BLADE_CAUTION, LETTER_MM, LINE_STEP, Draft, at_least, say_mm, words_width_mm
from .template import Template

NAMED = ("baffle", "Sleeve round the joint of box and lid")

#: The glue lap, mm.
LAP_MM = 12.0
#: Its corners are cut back by so much, mm.
TRIM_MM = 3.0


def baffle_template(
    plane: FilmPlane, *, overlap_mm: float, clearance_mm: float, wall_thickness_mm: float = 0.0
) -> Template:
    """A strip round the outside of the container, `overlap_mm` ≥ 1 to either side of the joint, and a glue lap.

    What is known of the container is its inside (`container`): a tin's diameter, the width and depth of a box that a
    strip is bowed in, else the smallest box that holds film and hole. To every outer face it is `wall_thickness_mm`
    more, and `clearance_mm` ≥ 0 between wall and sleeve: π·(diameter + 2·wall + 2·clearance) round a tin,
    2·(width + depth) + 8·(wall + clearance) round a box. The maker's own box is to be measured first.

    Lengths: `round the container`, `sleeve height`, `overlap`, `glue lap`; of a box also `front`, `right side`,
    `back` and `left side`.
    """
    at_least(1.0, overlap_mm=overlap_mm)
    at_least(0.0, clearance_mm=clearance_mm, wall_thickness_mm=wall_thickness_mm)
    box, outside_mm = container(plane), 2 * (wall_thickness_mm + clearance_mm)
    if box.round:
        faces = {"tin": float(np.pi) * (box.depth_mm + outside_mm)}
    else:
        width, depth = box.width_mm + outside_mm, box.depth_mm + outside_mm
        faces = {"front": width, "right side": depth, "back": width, "left side": depth}
    corners = [0.0, *accumulate(faces.values())]
    end, height = corners[-1], 2 * overlap_mm
    trim = min(TRIM_MM, overlap_mm / 2)

    draft = Draft()
    draft.line(
        "cut",
        (0.0, 0.0), (end, 0.0), (end + LAP_MM, trim), (end + LAP_MM, height - trim), (end, height), (0.0, height),
        closed=True,
    )  # fmt: skip
    for x in corners[1:-1]:
        draft.line("fold", (x, 0.0), (x, height))
    draft.line("guide" if box.round else "fold", (end, 0.0), (end, height))
    draft.line("centre", (0.0, overlap_mm), (end + LAP_MM, overlap_mm))
    draft.length("round the container", end, (0.0, 0.0), (end, 0.0))
    draft.length("sleeve height", height, (0.0, 0.0), (0.0, height))
    draft.length("overlap", overlap_mm, (end, 0.0), (end, overlap_mm))
    draft.length("glue lap", LAP_MM, (end, overlap_mm), (end + LAP_MM, overlap_mm))
    if not box.round:
        for (name, mm), (start, stop) in zip(faces.items(), pairwise(corners), strict=True):
            draft.length(name, mm, (start, height), (stop, height))
            if words_width_mm(name) < mm:
                draft.words((start + stop) / 2, height, name)
    draft.words(
        0.0,
        height + LINE_STEP * LETTER_MM,
        f"sleeve {say_mm(end, height)} and a glue lap",
        "for a tin" if box.round else f"for a box {say_mm(width - outside_mm, depth - outside_mm)} inside",
        anchor="start",
    )
    bend = "Bend it round the tin" if box.round else "Fold it at the dashed lines, round the box,"
    return draft.template(
        NAMED,
        f"Measure your own container first: this goes by {box.told_by}, with walls {say_mm(wall_thickness_mm)} thick "
        f"and {say_mm(clearance_mm)} of play. If yours differs, draw the strip anew to your measures.",
        f"Cut from black card. {bend} and glue the lap behind the other end. It should slide, not wobble.",
        "Glue it round the outside of the lid, up to the centre line; the other half slides over the box. Where the "
        "lid's rim already reaches over the box, measure round the rim.",
        BLADE_CAUTION,
    )
