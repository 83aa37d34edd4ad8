"""The cutting templates of a camera, at true scale: small ones together on a page, large ones in parts to be joined."""

from collections.abc import Sequence
from typing import Any

from clubs.sheets.blocks import TRUE_SCALE_MM
from clubs.sheets.camera import SheetCamera
from clubs.sheets.camera_spec import HOLE_CAUTION, SUN_CAUTION
from clubs.sheets.drawings import framed
from optics.core.camera_plan import plan_camera
from optics.core.faults import Impossible
from optics.core.sheet_cuts import CAUTION as BLADE_CAUTION
from optics.core.templates.all_of_them import templates
from optics.core.templates.packing import PlacedPage, fits, pack, page_svg
from optics.core.templates.svg import legend, template_svg
from optics.core.templates.template import LeftOut, Template
from optics.core.templates.tiling import JOINING, Tile, assembly, drawn, tiles

TITLE = "Cutting templates"
CHECK = (
    "Print at 100 %, without scaling. Before you cut anything, lay a ruler along both bars at the page's edge: each "
    "must be 100 mm long. Printers that scale mostly do so by a few percent, and then the parts do not fit each other."
)

Block = dict[str, Any]


def cutting_templates(camera: SheetCamera, *, page: str) -> list[dict[str, Any]]:
    """The sections: what the lines mean and how each piece is used, then the drawings, each beginning a page."""
    made = [_printable(each, page) for each in of_camera(camera)]
    pieces = [each for each in made if isinstance(each, Template)]
    room = room_mm(page)
    large = [piece for piece in pieces if not fits(piece, **room)]
    packed = pack([legend(), *(piece for piece in pieces if piece not in large)], **room)
    sections = [_before(made), *(_together(each, number, len(packed)) for number, each in enumerate(packed, 1))]
    sections += [_in_parts(piece, tiles(piece, **room)) for piece in large]
    return [each | {"blocks": [*each["blocks"], {"kind": "break"}]} for each in sections[:-1]] + sections[-1:]


def room_mm(page: str) -> dict[str, float]:
    """The largest drawing at true scale that a page holds."""
    width, height = TRUE_SCALE_MM[page]
    return {"page_width_mm": width, "page_height_mm": height}


def _printable(made: Template | LeftOut, page: str) -> Template | LeftOut:
    """The template, or why it cannot be printed: an opening for a very steep view may be metres wide."""
    if isinstance(made, Template):
        try:
            tiles(made, **room_mm(page))
        except Impossible as fault:
            return LeftOut(made.name, made.title, str(fault))
    return made


def of_camera(camera: SheetCamera) -> tuple[Template | LeftOut, ...]:
    """All templates of a camera; its opening is the one that its specification tells of."""
    wall = camera.wall_thickness_mm
    plan = plan_camera(camera.film_plane, hole=camera.hole, wall_thickness_mm=wall)
    share = plan.opening_used_share if plan.opening else 1.0
    return templates(camera.film_plane, hole=camera.hole, wall_thickness_mm=wall, margin_mm=0.0, used_share=share)


def _before(made: Sequence[Template | LeftOut]) -> dict[str, Any]:
    cautions = [{"kind": "caution", "text": text} for text in (BLADE_CAUTION, HOLE_CAUTION, SUN_CAUTION)]
    blocks: list[Block] = [{"kind": "text", "text": CHECK}, *cautions]
    for each in made:
        if isinstance(each, LeftOut):
            blocks.append({"kind": "facts", "rows": [[each.title, f"None: {each.reason}"]]})
        else:
            blocks += [{"kind": "facts", "rows": [[each.title, _sizes(each)]]}]
            blocks += [{"kind": "steps", "items": list(each.notes)}] if each.notes else []
    return {"title": "Before you cut", "blocks": blocks}


def _sizes(template: Template) -> str:
    return "; ".join(f"{each.name} {each.mm:.1f} mm" for each in template.lengths)


def _together(page: PlacedPage, number: int, pages: int) -> dict[str, Any]:
    title = f"At true scale, page {number} of {pages}" if pages > 1 else "At true scale"
    names = ", ".join(each.template.title for each in page.placed)
    drawing = framed(page_svg(page), caption=f"{names}. Check the bars before you cut.") | {"true_scale": True}
    return {"title": title, "blocks": [drawing]}


def _in_parts(template: Template, parts: tuple[Tile, ...]) -> dict[str, Any]:
    overview = framed(assembly(template, parts), caption="How the parts lie; not to scale.")
    blocks: list[Block] = [{"kind": "steps", "items": list(JOINING)}, overview]
    for part in parts:
        alone = drawn(part)
        drawing = framed(template_svg(alone), caption=alone.title) | {"true_scale": True}
        blocks += [{"kind": "break"}, drawing]
    return {"title": f"{template.title}, in {len(parts)} parts", "blocks": blocks}
