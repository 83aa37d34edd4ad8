"""A shutter of card: a slide between two rails, with a frame before and behind it, and stops at both ends.

Seen from the front, the slide rises to open. Its body covers the window; above that it narrows to a neck that runs
between a tooth on each rail. Shut, the slide's head rests on the teeth; open, its body meets them from below. So the
neck is as long as the travel and a tooth's height together.
"""

from dataclasses import dataclass

from optics.core.camera_plan import Hole
from optics.core.faults import Impossible
from optics.core.film_planes import FilmPlane
from optics.core.wall_opening import PlateSide, wall_opening

from .container import container
from .draft import BLADE_CAUTION, Draft, at_least, say_mm, words_width_mm
from .template import Point, Template

NAMED = ("shutter", "Shutter that slides in a frame")
BASE = ("shutter_base", "Shutter: base, rails and sill")
FRONT = ("shutter_front", "Shutter: front")
SLIDE = ("shutter_slide", "Shutter: slide")

#: The smallest window that is easily cut, mm.
LEAST_WINDOW_MM = 8.0
#: The most of the front's width and height that a window takes, so that the frame finds room about it, and the least
#: share of the film's width and height that a smaller window must clear (our own judgement).
MOST_OF_FRONT, LEAST_CLEARED = 0.5, 0.5
#: The narrowest rail that glues well, mm.
LEAST_RAIL_MM = 8.0
#: The slide's head, for two fingers, mm high, and how much its upper corners are trimmed.
HEAD_MM, TRIM_MM = 14.0, 3.0
#: Bare paper between the parts, mm.
GAP_MM = 8.0
#: The base, the rails with the slide between them, and the front.
LAYERS = 3


@dataclass(frozen=True)
class Shutter:
    """Every size of the shutter, mm, from its window, the overlap round it and the clearance beside the slide.

    The window clips no ray to the middle `cleared_share` of the film's width and height. Heights count down from the
    window's middle (`_y_mm`). The slide's own are those of the shut slide.
    """

    window_width_mm: float
    window_height_mm: float
    overlap_mm: float
    clearance_mm: float
    cleared_share: float

    @property
    def slide_width_mm(self) -> float:
        return self.window_width_mm + 2 * self.overlap_mm

    @property
    def body_height_mm(self) -> float:
        """Of the part of the slide that covers the window."""
        return self.window_height_mm + 2 * self.overlap_mm

    @property
    def channel_width_mm(self) -> float:
        return self.slide_width_mm + 2 * self.clearance_mm

    @property
    def rail_width_mm(self) -> float:
        """A rail's, and the height of its tooth along the travel."""
        return max(LEAST_RAIL_MM, self.overlap_mm)

    @property
    def frame_width_mm(self) -> float:
        return self.channel_width_mm + 2 * self.rail_width_mm

    @property
    def travel_mm(self) -> float:
        """How far the slide rises until its body is clear of the window."""
        return self.window_height_mm + self.overlap_mm

    @property
    def neck_length_mm(self) -> float:
        return self.travel_mm + self.rail_width_mm

    @property
    def neck_width_mm(self) -> float:
        """With a tooth as deep as the overlap, and the same clearance beside the neck as beside the slide."""
        return self.slide_width_mm - 2 * self.overlap_mm

    @property
    def body_top_y_mm(self) -> float:
        return -self.body_height_mm / 2

    @property
    def frame_top_y_mm(self) -> float:
        """The teeth's upper side, which the shut slide's head rests on."""
        return self.body_top_y_mm - self.neck_length_mm

    @property
    def sill_y_mm(self) -> float:
        """The upper side of the strip that closes the channel below the slide."""
        return self.body_height_mm / 2 + self.clearance_mm

    @property
    def frame_bottom_y_mm(self) -> float:
        return self.sill_y_mm + self.rail_width_mm

    @property
    def frame_height_mm(self) -> float:
        return self.frame_bottom_y_mm - self.frame_top_y_mm


def shutter(
    plane: FilmPlane,
    *,
    hole: Hole,
    wall_thickness_mm: float,
    material_mm: float,
    overlap_mm: float,
    clearance_mm: float,
    plate_side: PlateSide = "inside",
    margin_mm: float = 0.0,
    used_share: float = 1.0,
) -> Shutter:
    """The shutter before the wall, made of card `material_mm` thick, whose window clips no ray to the used film.

    Its front stands three thicknesses before the wall's outer face, or before the plate where that is outside: the
    window is the `wall_opening` of a wall that thick, 8 mm at least each way. Where it would take more than half of
    the front, the container's width by the film's height, it clears the largest share of the film, in whole percent,
    that half the front allows. Raises the `Impossible` of `wall_opening`, and `Impossible("shutter_too_large")` where
    that share is under `LEAST_CLEARED`.
    """
    at_least(0.0, material_mm=material_mm, clearance_mm=clearance_mm)
    at_least(1.0, overlap_mm=overlap_mm)
    room = MOST_OF_FRONT * container(plane).width_mm, MOST_OF_FRONT * plane.height_mm
    smaller = (percent / 100 for percent in range(99, 0, -1) if LEAST_CLEARED <= percent / 100 < used_share)
    for share in (used_share, *smaller):
        window = wall_opening(
            plane,
            wall_thickness_mm=LAYERS * material_mm + (wall_thickness_mm if plate_side == "inside" else 0.0),
            hole_diameter_mm=hole.diameter_mm,
            plate_thickness_mm=hole.plate_thickness_mm,
            margin_mm=margin_mm,
            used_share=share,
        )
        width, height = (max(LEAST_WINDOW_MM, each) for each in (window.width_mm, window.height_mm))
        if width <= room[0] and height <= room[1]:
            return Shutter(width, height, overlap_mm, clearance_mm, cleared_share=share)
    raise Impossible(
        "shutter_too_large",
        f"Light comes in so steeply that a shutter's window would be {say_mm(width, height)}, where the camera's front "
        f"has room for {say_mm(*room)}. Take thinner card, or cover the hole with a flap.",
        "material",
    )


def shutter_templates(
    plane: FilmPlane,
    *,
    hole: Hole,
    wall_thickness_mm: float,
    material_mm: float,
    overlap_mm: float,
    clearance_mm: float,
    plate_side: PlateSide = "inside",
    margin_mm: float = 0.0,
    used_share: float = 1.0,
) -> tuple[Template, Template, Template]:
    """The `shutter`'s base with its rails and sill, its front, and its slide.

    Lengths are named for the shutter's sizes; no name stands on two of them. What concerns all is told on the base.
    """
    made = shutter(
        plane,
        hole=hole,
        wall_thickness_mm=wall_thickness_mm,
        material_mm=material_mm,
        overlap_mm=overlap_mm,
        clearance_mm=clearance_mm,
        plate_side=plate_side,
        margin_mm=margin_mm,
        used_share=used_share,
    )
    cleared = f"the middle {made.cleared_share:.0%} of the film" if made.cleared_share < 1 else "the whole film"
    darker = (
        "A window for all of the picture would leave no room on the camera's front, so with this one it gets darker "
        "towards its edges. Where that matters, cover the hole with a flap or a cap instead."
    )
    round_wall = "A tin's wall is round: fill what gapes behind the base with card, and seal it with black tape."
    base = _base(made).template(
        BASE,
        f"Cut these four parts, the front and the slide from card {say_mm(material_mm)} thick and blacken them. Glue "
        "the rails and the sill onto the base, between the thin lines and its edges, the teeth at the top and inwards. "
        "Lay the slide in, its neck between the teeth, then glue on the front.",
        "A slip of thin paper under the rails and the sill lets the slide run freely.",
        f"Glue the base to the outside of the camera, its centre lines on the hole. Drawn for a wall "
        f"{say_mm(wall_thickness_mm)} thick with the plate {plate_side}: light to {cleared} passes freely.",
        *([darker] if made.cleared_share < used_share else []),
        *([round_wall] if container(plane).round else []),
        BLADE_CAUTION,
    )
    front = _front(made).template(
        FRONT,
        "Glue it onto the rails and the sill only, its edges and its window level with the base's: no glue on the "
        "slide.",
        BLADE_CAUTION,
    )
    slide = _slide(made).template(
        SLIDE,
        f"Lift it by its head until it stops, {say_mm(made.travel_mm)}: the window is open, and the line across the "
        "neck is level with the frame's top. Let it down until the head rests on the frame: shut.",
        BLADE_CAUTION,
    )
    return base, front, slide


def _frame(made: Shutter, *words: str, frame: str, window: str) -> Draft:
    """A plate of the frame, the window's middle at (0, 0); its lengths are called after `frame` and `window`."""
    half, top, bottom = made.frame_width_mm / 2, made.frame_top_y_mm, made.frame_bottom_y_mm
    right, down = made.window_width_mm / 2, made.window_height_mm / 2
    draft = Draft()
    draft.rectangle("cut", (-half, top, half, bottom))
    draft.rectangle("cut", (-right, -down, right, down))
    draft.centre_lines(0, 0, half, down + made.overlap_mm)
    draft.length(f"{frame} width", made.frame_width_mm, (-half, top), (half, top))
    draft.length(f"{frame} height", made.frame_height_mm, (half, top), (half, bottom))
    draft.length(f"{window} width", made.window_width_mm, (-right, -down), (right, -down))
    draft.length(f"{window} height", made.window_height_mm, (right, -down), (right, down))
    draft.words(0, bottom, *words)
    return draft


def _base(made: Shutter) -> Draft:
    """With where the rails and the sill go; the rails beside it and the sill below."""
    window = f"window {say_mm(made.window_width_mm, made.window_height_mm)}"
    draft = _frame(made, "base", window, frame="frame", window="window")
    channel, down = made.channel_width_mm / 2, made.window_height_mm / 2
    tooth, top = channel - made.overlap_mm, made.frame_top_y_mm
    for side in (-1, 1):
        draft.line(
            "guide",
            (side * tooth, top),
            (side * tooth, top + made.rail_width_mm),
            (side * channel, top + made.rail_width_mm),
            (side * channel, made.frame_bottom_y_mm),
        )
    draft.line("guide", (-channel, made.sill_y_mm), (channel, made.sill_y_mm))
    draft.length("channel width", made.channel_width_mm, (-channel, made.sill_y_mm), (channel, made.sill_y_mm))
    draft.length("sill below the window", made.sill_y_mm - down, (0.0, down), (0.0, made.sill_y_mm))
    _rails(draft, made)
    _sill(draft, made)
    return draft


def _rails(draft: Draft, made: Shutter) -> None:
    """The left rail and, as its mirror image, the right one."""
    wide, tooth, high = made.rail_width_mm, made.overlap_mm, made.frame_height_mm
    top, bottom = made.frame_top_y_mm, made.frame_bottom_y_mm
    shape = [(0.0, 0.0), (wide + tooth, 0.0), (wide + tooth, wide), (wide, wide), (wide, high), (0.0, high)]
    left = draft.box[2] + GAP_MM
    right = left + 2 * max(wide + tooth, words_width_mm("right")) + GAP_MM
    for side, edge in ((1, left), (-1, right)):
        draft.line("cut", *((edge + side * x, top + y) for x, y in shape), closed=True)
    draft.words(left, bottom, "left", "rail", anchor="start")
    draft.words(right, bottom, "right", "rail", anchor="end")
    draft.length("rail width", wide, (left, bottom), (left + wide, bottom))
    draft.length("rail length", high, (left, top), (left, bottom))
    draft.length("tooth depth", tooth, (left + wide, top + wide), (left + wide + tooth, top + wide))
    draft.length("tooth height", wide, (left + wide + tooth, top), (left + wide + tooth, top + wide))


def _sill(draft: Draft, made: Shutter) -> None:
    top, half = draft.box[3] + GAP_MM, made.channel_width_mm / 2
    bottom = top + made.rail_width_mm
    draft.rectangle("cut", (-half, top, half, bottom))
    draft.length("sill width", made.channel_width_mm, (-half, top), (half, top))
    draft.length("sill height", made.rail_width_mm, (half, top), (half, bottom))
    draft.words(0, bottom, "sill")


def _front(made: Shutter) -> Draft:
    return _frame(made, "front", frame="front", window="front window")


def _slide(made: Shutter) -> Draft:
    half, neck, body_top = made.slide_width_mm / 2, made.neck_width_mm / 2, made.body_top_y_mm
    head_bottom, bottom = made.frame_top_y_mm, made.body_height_mm / 2
    head_top, trim = head_bottom - HEAD_MM, min(TRIM_MM, half / 2)
    right_side: list[Point] = [
        (half - trim, head_top), (half, head_top + trim), (half, head_bottom), (neck, head_bottom), (neck, body_top),
        (half, body_top), (half, bottom),
    ]  # fmt: skip
    left_side = [(-x, y) for x, y in reversed(right_side)]
    open_mark = head_bottom + made.travel_mm
    draft = Draft()
    draft.line("cut", *right_side, *left_side, closed=True)
    draft.line("guide", (-neck, open_mark), (neck, open_mark))
    draft.length("slide width", made.slide_width_mm, (-half, bottom), (half, bottom))
    draft.length("body height", made.body_height_mm, (half, body_top), (half, bottom))
    draft.length("neck width", made.neck_width_mm, (-neck, head_bottom), (neck, head_bottom))
    draft.length("neck length", made.neck_length_mm, (neck, head_bottom), (neck, body_top))
    draft.length("travel", made.travel_mm, (-neck, head_bottom), (-neck, open_mark))
    draft.words(0, bottom, "slide")
    return draft
