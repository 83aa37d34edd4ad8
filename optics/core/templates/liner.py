"""The black paper that lies behind the film, with a tab to pull it out by."""

from optics.core.faults import Impossible
from optics.core.film_planes import FilmPlane

from .draft import BLADE_CAUTION, Draft, at_least, say_mm
from .template import Template

NAMED = ("liner", "Black paper behind the film, with a pull tab")

#: The tab's size, mm, where the film is large enough for it; else this share of the film's length is its width.
TAB_WIDTH_MM, TAB_LENGTH_MM, TAB_SHARE = 25.0, 18.0, 1 / 3
#: The least length and height of a liner, mm.
LEAST_SIDE_MM = 1.0
#: The tab's free corners are trimmed by this share of its width.
TRIM_SHARE = 0.2


def liner_template(plane: FilmPlane, *, clearance_mm: float) -> Template:
    """The film laid flat, less `clearance_mm` ≥ 0 on every side, with a tab in the middle of its upper edge.

    Raises `Impossible("liner_too_small")` where less than 1 mm of it is left. Lengths: `liner length`,
    `liner height`, `tab width`, `tab length`.
    """
    at_least(0.0, clearance_mm=clearance_mm)
    length, height = plane.length_mm - 2 * clearance_mm, plane.height_mm - 2 * clearance_mm
    if min(length, height) < LEAST_SIDE_MM:
        raise Impossible(
            "liner_too_small",
            f"Of a film of {say_mm(plane.length_mm, plane.height_mm)}, {say_mm(clearance_mm)} of clearance on every "
            "side leaves nothing for a liner. Take a smaller clearance, or lay the film on blackened card.",
            "clearance",
        )
    tab = min(TAB_WIDTH_MM, TAB_SHARE * length)
    right, half, trim = length / 2, tab / 2, TRIM_SHARE * tab
    draft = Draft()
    draft.line(
        "cut",
        (-half, 0.0), (-right, 0.0), (-right, height), (right, height), (right, 0.0), (half, 0.0),
        (half, trim - TAB_LENGTH_MM), (half - trim, -TAB_LENGTH_MM), (trim - half, -TAB_LENGTH_MM),
        (-half, trim - TAB_LENGTH_MM),
        closed=True,
    )  # fmt: skip
    draft.line("fold", (-half, 0.0), (half, 0.0))
    draft.length("liner length", length, (-right, height), (right, height))
    draft.length("liner height", height, (right, 0.0), (right, height))
    draft.length("tab width", tab, (-half, 0.0), (half, 0.0))
    draft.length("tab length", TAB_LENGTH_MM, (half - trim, 0.0), (half - trim, -TAB_LENGTH_MM))
    draft.words(0, height, f"liner {say_mm(length, height)}", "pull tab at the top")
    return draft.template(
        NAMED,
        f"Cut from black paper, {say_mm(clearance_mm)} smaller than the film on every side. Its black side faces the "
        "hole.",
        "Fold the tab forward along the dashed line. Slide the liner in, then the film before it, and pull both out "
        "by the tab.",
        BLADE_CAUTION,
    )
