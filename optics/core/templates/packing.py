"""Small templates placed together on pages, each under its title.

Maximal rectangles (J. Jylänki, A Thousand Ways to Pack the Bin, 2010, from memory): of each page all the largest
empty rectangles are kept, which overlap, and a template goes into the first page with room, as far up as there is any.
Several orders are tried, and each template as drawn, all lying, all standing, and each as it fits best; of all these
the one of fewest pages, and then of fewest turned, is taken.
"""

import textwrap
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import product

from optics.core.faults import Impossible
from optics.core.templates.moving import moved_label, moved_points, turned
from optics.core.templates.svg import CAPITAL_SHARE, LETTER_WIDTH, Box, template_svg
from optics.core.templates.template import Label, Template

TITLE_LETTER_MM = 3.0
#: From one line of a title to the next, and from the last to the drawing.
_TITLE_STEP_MM, _TITLE_GAP_MM = 1.6 * TITLE_LETTER_MM, 0.8 * TITLE_LETTER_MM
_TITLE_WIDTH_MM = LETTER_WIDTH * TITLE_LETTER_MM / CAPITAL_SHARE
#: The room of a title in three lines, which is what one over a narrow drawing takes.
TITLED_MM = 3 * _TITLE_STEP_MM + _TITLE_GAP_MM
#: A title over a narrower drawing takes so much width before it goes on in another line.
_LEAST_TITLE_MM = 50.0
#: So much too large still fits: rounding makes no more.
_SLACK_MM = 1e-6


@dataclass(frozen=True)
class Placed:
    """A template on a page: its drawing's upper left corner, and the lines of its title above it.

    `template` is as it lies; where `turned`, that is clockwise by 90°.
    """

    template: Template
    title: tuple[str, ...]
    turned: bool
    x_mm: float = 0.0
    y_mm: float = 0.0

    @property
    def title_mm(self) -> float:
        """The height of the title's room."""
        return _TITLE_STEP_MM * len(self.title) + _TITLE_GAP_MM

    @property
    def width_mm(self) -> float:
        return max(self.template.width_mm, _TITLE_WIDTH_MM * max(map(len, self.title), default=0))

    @property
    def height_mm(self) -> float:
        return self.title_mm + self.template.height_mm

    @property
    def box(self) -> Box:
        """Left, top, right and bottom in mm, title included."""
        return self.x_mm, self.y_mm - self.title_mm, self.x_mm + self.width_mm, self.y_mm + self.template.height_mm


@dataclass(frozen=True)
class PlacedPage:
    """Templates on one page, `width_mm` wide as the page is and `height_mm` high as they need."""

    width_mm: float
    height_mm: float
    placed: tuple[Placed, ...]


def fits(template: Template, *, page_width_mm: float, page_height_mm: float) -> bool:
    """Whether a page has room for the template and its title, turned or not; else it needs tiles."""
    return bool(_fitting(template, page_width_mm, page_height_mm))


def pack(
    templates: Sequence[Template], *, page_width_mm: float, page_height_mm: float, gap_mm: float = 4.0
) -> tuple[PlacedPage, ...]:
    """Each template once, `gap_mm` or more apart, turned where it may be and that saves pages; the same every time.

    Raises `Impossible`, `larger_than_page`, for a template that fits no page with its title.
    """
    choices = [_fitting(template, page_width_mm, page_height_mm) for template in templates]
    for template, fitting in zip(templates, choices, strict=True):
        if not fitting:
            raise Impossible(
                "larger_than_page",
                f"{template.title} is {template.width_mm:.0f} × {template.height_mm:.0f} mm and needs tiles: with its "
                f"title it fits no page of {page_width_mm:g} × {page_height_mm:g} mm.",
                "page",
            )
    ways = [choices, *([[min(fitting, key=way)] for fitting in choices] for way in _WAYS)]
    packed = [
        _packed(sorted(way, key=lambda fitting: -order(fitting[0])), page_width_mm, page_height_mm, gap_mm)
        for way, order in product(ways, _ORDERS)
    ]
    return min(packed, key=lambda pages: (len(pages), sum(each.turned for page in pages for each in page.placed)))


#: Which way a template lies where all lie the same: as drawn, lying, standing.
_WAYS: tuple[Callable[[Placed], float], ...] = (
    lambda each: each.turned,
    lambda each: each.template.height_mm,
    lambda each: each.template.width_mm,
)
#: What is placed first: the highest, the largest, the longest.
_ORDERS: tuple[Callable[[Placed], float], ...] = (
    lambda each: each.height_mm,
    lambda each: each.width_mm * each.height_mm,
    lambda each: max(each.width_mm, each.height_mm),
)


def on_one(page: PlacedPage) -> Template:
    """All of a page as one template; a length's name begins with the title of the template it belongs to."""
    titles = [each.template.title for each in page.placed]
    return Template(
        name="_".join(each.template.name for each in page.placed),
        title="; ".join(titles),
        width_mm=page.width_mm,
        height_mm=page.height_mm,
        lines=tuple(
            replace(line, points=moved_points(line.points, each.x_mm, each.y_mm))
            for each in page.placed
            for line in each.template.lines
        ),
        labels=tuple(label for each in page.placed for label in _labels(each)),
        lengths=tuple(
            replace(
                length,
                name=f"{each.template.title}: {length.name}",
                points=moved_points(length.points, each.x_mm, each.y_mm),
            )
            for each in page.placed
            for length in each.template.lengths
        ),
        notes=tuple(dict.fromkeys(note for each in page.placed for note in each.template.notes)),
    )


def page_svg(page: PlacedPage) -> str:
    """The page as one SVG in true scale, as `template_svg` draws."""
    return template_svg(on_one(page))


@dataclass
class _Filling:
    """A page as it fills; `free` are its largest empty rectangles, the gap beside what comes into them included."""

    free: list[Box]
    placed: list[Placed] = field(default_factory=list)

    def best(self, fitting: Iterable[Placed], gap_mm: float) -> Placed | None:
        """Of the ways a template fits the page, the one that ends highest up; None where it has no room."""
        room = gap_mm - _SLACK_MM
        found = [
            replace(each, x_mm=left, y_mm=top + each.title_mm)
            for each in fitting
            for left, top, right, bottom in self.free
            if each.width_mm + room <= right - left and each.height_mm + room <= bottom - top
        ]
        return min(found, key=lambda each: (each.box[3], each.x_mm, each.turned), default=None)

    def take(self, each: Placed, gap_mm: float) -> None:
        self.placed.append(each)
        left, top, right, bottom = each.box
        taken = left, top, right + gap_mm, bottom + gap_mm
        free = dict.fromkeys(rest for rectangle in self.free for rest in _without(rectangle, taken))
        self.free = [a for a in free if not any(a != b and _within(a, b) for b in free)]


def _packed(
    choices: Iterable[Sequence[Placed]], page_width_mm: float, page_height_mm: float, gap_mm: float
) -> tuple[PlacedPage, ...]:
    pages: list[_Filling] = []
    for fitting in choices:
        for page in pages:
            if (found := page.best(fitting, gap_mm)) is not None:
                break
        else:
            page = _Filling([(0.0, 0.0, page_width_mm + gap_mm, page_height_mm + gap_mm)])
            pages.append(page)
            found = page.best(fitting, gap_mm)
        assert found is not None  # noqa: S101  (whatever fits a page fits an empty one)
        page.take(found, gap_mm)
    ends = [min(max(each.box[3] for each in page.placed), page_height_mm) for page in pages]
    return tuple(PlacedPage(page_width_mm, end, tuple(page.placed)) for end, page in zip(ends, pages, strict=True))


def _without(rectangle: Box, taken: Box) -> list[Box]:
    """The largest rectangles of what is left of one: to the left of what is taken, above, to the right and below."""
    left, top, right, bottom = rectangle
    if taken[0] >= right or taken[2] <= left or taken[1] >= bottom or taken[3] <= top:
        return [rectangle]
    rest = [
        (left, top, taken[0], bottom),
        (left, top, right, taken[1]),
        (taken[2], top, right, bottom),
        (left, taken[3], right, bottom),
    ]
    return [(a, b, c, d) for a, b, c, d in rest if c - a > _SLACK_MM and d - b > _SLACK_MM]


def _within(a: Box, b: Box) -> bool:
    return a[0] >= b[0] and a[1] >= b[1] and a[2] <= b[2] and a[3] <= b[3]


def _fitting(template: Template, page_width_mm: float, page_height_mm: float) -> list[Placed]:
    """The template as drawn and, where it turns, turned: whichever has room on a page under its title."""
    ways = [(template, False), (turned(template), True)][: 1 + template.turns]
    return [
        each
        for each in (Placed(way, _title(way, page_width_mm), turn) for way, turn in ways)
        if each.width_mm <= page_width_mm + _SLACK_MM and each.height_mm <= page_height_mm + _SLACK_MM
    ]


def _title(template: Template, page_width_mm: float) -> tuple[str, ...]:
    """The title in lines no longer than the drawing is wide, or than `_LEAST_TITLE_MM`."""
    width = min(max(template.width_mm, _LEAST_TITLE_MM), page_width_mm)
    return tuple(textwrap.wrap(template.title, int(width / _TITLE_WIDTH_MM)))


def _labels(each: Placed) -> tuple[Label, ...]:
    """A template's labels on its page, its title first."""
    top = each.y_mm - each.title_mm
    title = (
        Label(each.x_mm, top + (row + 1) * _TITLE_STEP_MM - 0.6 * TITLE_LETTER_MM, text, TITLE_LETTER_MM, "start")
        for row, text in enumerate(each.title)
    )
    return (*title, *(moved_label(label, each.x_mm, each.y_mm) for label in each.template.labels))
