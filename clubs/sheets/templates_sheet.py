"""The cutting templates of a camera, at true scale: small ones together on a page, large ones in parts to be joined."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from clubs.sheets.blocks import TRUE_SCALE_MM
from clubs.sheets.camera import SheetCamera
from clubs.sheets.camera_spec import HOLE_CAUTION, SUN_CAUTION
from clubs.sheets.drawings import framed
from optics.core.camera_plan import plan_camera
from optics.core.faults import Impossible
from optics.core.sheet_cuts import CAUTION as BLADE_CAUTION
from optics.core.templates.all_of_them import templates
from optics.core.templates.packing import TITLED_MM, PlacedPage, fits, pack, page_svg
from optics.core.templates.svg import legend, template_svg
from optics.core.templates.template import LeftOut, Template
from optics.core.templates.tiling import JOINING, Tile, assembly, drawn, tiles

TITLE = "Cutting templates"
CHECK = (
    "Print at 100 %, without scaling. Before you cut anything, lay a ruler along both bars at the page's edge: each "
    "must be 100 mm long. Printers that scale mostly do so by a few percent, and then the parts do not fit each other."
)

Block = dict[str, Any]


@dataclass(frozen=True)
class Layout:
    """How the pieces of a camera lie on paper: what needs parts, pages of several drawings, and parts that fill one."""

    large: Mapping[Template, Sequence[Tile]]
    packed: Sequence[PlacedPage]
    alone: Sequence[Template]


def cutting_templates(camera: SheetCamera, *, page: str) -> list[dict[str, Any]]:
    """The sections: how each piece is used; the drawings, each beginning a page; how parts are joined."""
    made = [_printable(each, page) for each in of_camera(camera)]
    layout = laid_out([each for each in made if isinstance(each, Template)], page)
    before = _before(made)
    drawings = [_together(each, number, len(layout.packed)) for number, each in enumerate(layout.packed, 1)]
    drawings += [_alone(part) for part in layout.alone]
    for each in (before, *drawings[:-1]):
        each["blocks"].append({"kind": "break"})
    # Joining comes last, below the last drawing if there is room: before the first it would mostly begin a page.
    return [before, *drawings, *([_joining(layout.large)] if layout.large else [])]


def laid_out(pieces: Sequence[Template], page: str) -> Layout:
    """Small pieces, parts of large ones and the legend, together where pages have room; parts are never turned."""
    room = room_mm(page)
    large = {piece: in_parts(piece, page) for piece in pieces if not fits(piece, **room)}
    parts = [drawn(part) for each in large.values() for part in each]
    shared = [part for part in parts if fits(part, **room)]
    small = [legend(), *(piece for piece in pieces if piece not in large)]
    packed = pack([*small, *shared], **room)
    return Layout(large, packed, [part for part in parts if part not in shared])


def in_parts(piece: Template, page: str) -> tuple[Tile, ...]:
    """The parts of a large piece: as few as can be, or lower ones where those share pages and so need fewer."""
    room = room_mm(page)
    lower = room | {"page_height_mm": room["page_height_mm"] - TITLED_MM}
    few = tiles(piece, **room)
    try:
        return min(few, tiles(piece, **lower), key=lambda parts: _pages(parts, room))
    except Impossible:  # the lower ones are too many
        return few


def _pages(parts: Sequence[Tile], room: Mapping[str, float]) -> int:
    """How many pages the parts of one piece take."""
    each = [drawn(part) for part in parts]
    shared = [part for part in each if fits(part, **room)]
    return len(each) - len(shared) + len(pack(shared, **room))


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
    caution = {"kind": "caution", "text": "\n".join((BLADE_CAUTION, HOLE_CAUTION, SUN_CAUTION))}
    notes = Counter(note for each in made if isinstance(each, Template) for note in each.notes)
    often = [note for note, times in notes.items() if times > 1]
    blocks: list[Block] = [{"kind": "text", "text": CHECK}, caution]
    blocks += [{"kind": "text", "text": " ".join(often)}] if often else []
    for each in made:
        if isinstance(each, LeftOut):
            blocks.append({"kind": "facts", "rows": [[each.title, f"None: {each.reason}"]]})
        else:
            blocks += [{"kind": "facts", "rows": [[each.title, _sizes(each)]]}]
            own = [note for note in each.notes if note not in often]
            blocks += [{"kind": "steps", "items": own}] if own else []
    return {"title": "Before you cut", "blocks": blocks}


def _sizes(template: Template) -> str:
    return "; ".join(f"{each.name} {each.mm:.1f}\N{NO-BREAK SPACE}mm" for each in template.lengths)


def _together(page: PlacedPage, number: int, pages: int) -> dict[str, Any]:
    title = f"At true scale, page {number} of {pages}" if pages > 1 else "At true scale"
    names = ", ".join(each.template.title for each in page.placed)
    drawing = framed(page_svg(page), caption=f"{names}. Check the bars before you cut.") | {"true_scale": True}
    return {"title": title, "blocks": [drawing]}


def _joining(large: Mapping[Template, Sequence[Tile]]) -> dict[str, Any]:
    blocks: list[Block] = [{"kind": "steps", "items": list(JOINING)}]
    for template, parts in large.items():
        caption = f"{template.title}: how its {len(parts)} parts lie; not to scale."
        blocks.append(framed(assembly(template, parts), caption=caption))
    return {"title": "Pieces in parts", "blocks": blocks}


def _alone(part: Template) -> dict[str, Any]:
    drawing = framed(template_svg(part), caption=part.title) | {"true_scale": True}
    return {"title": "", "blocks": [drawing]}
