"""Small templates placed together on pages, each under its title.

Shelf packing: the highest come first, each goes on the first shelf (a row as high as its first template) with room for
it. Three ways are tried, each template as drawn, all lying, all standing; the one of fewest pages, and then of fewest
turned, is taken.
"""

import textwrap
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace

from optics.core.faults import Impossible
from optics.core.templates.moving import moved_label, moved_points, turned
from optics.core.templates.svg import CAPITAL_SHARE, LETTER_WIDTH, Box, template_svg
from optics.core.templates.template import Label, Template

TITLE_LETTER_MM = 3.0
#: From one line of a title to the next, and from the last to the drawing.
_TITLE_STEP_MM, _TITLE_GAP_MM = 1.6 * TITLE_LETTER_MM, 0.8 * TITLE_LETTER_MM
_TITLE_WIDTH_MM = LETTER_WIDTH * TITLE_LETTER_MM / CAPITAL_SHARE
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
    """Each template once, `gap_mm` or more apart, turned where that saves pages; the same every time.

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
    ways: tuple[Callable[[Placed], float], ...] = (
        lambda each: each.turned,
        lambda each: each.template.height_mm,
        lambda each: each.template.width_mm,
    )
    packed = [
        _packed([min(fitting, key=way) for fitting in choices], page_width_mm, page_height_mm, gap_mm) for way in ways
    ]
    return min(packed, key=lambda pages: (len(pages), sum(each.turned for page in pages for each in page.placed)))


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
class _Shelf:
    """A row of templates from `top_mm` down, as high as its first; free from `right_mm` on."""

    top_mm: float
    height_mm: float
    right_mm: float = 0.0
    placed: list[Placed] = field(default_factory=list)

    def take(self, each: Placed, gap_mm: float) -> None:
        self.placed.append(replace(each, x_mm=self.right_mm, y_mm=self.top_mm + each.title_mm))
        self.right_mm += each.width_mm + gap_mm


def _packed(
    templates: Iterable[Placed], page_width_mm: float, page_height_mm: float, gap_mm: float
) -> tuple[PlacedPage, ...]:
    pages: list[list[_Shelf]] = []
    for each in sorted(templates, key=lambda each: -each.height_mm):
        shelves = (shelf for page in pages for shelf in page)
        shelf = next((s for s in shelves if s.right_mm + each.width_mm <= page_width_mm + _SLACK_MM), None)
        if shelf is None:
            shelf = _new_shelf(pages, each.height_mm, page_height_mm, gap_mm)
        shelf.take(each, gap_mm)
    return tuple(
        PlacedPage(
            page_width_mm,
            page[-1].top_mm + page[-1].height_mm,
            tuple(each for shelf in page for each in shelf.placed),
        )
        for page in pages
    )


def _new_shelf(pages: list[list[_Shelf]], height_mm: float, page_height_mm: float, gap_mm: float) -> _Shelf:
    """A shelf below those of the first page with room, or on a new page."""
    for page in pages:
        top = page[-1].top_mm + page[-1].height_mm + gap_mm
        if top + height_mm <= page_height_mm + _SLACK_MM:
            page.append(_Shelf(top, height_mm))
            return page[-1]
    pages.append([_Shelf(0.0, height_mm)])
    return pages[-1][0]


def _fitting(template: Template, page_width_mm: float, page_height_mm: float) -> list[Placed]:
    """The template as drawn and turned, whichever of them has room on a page under its title."""
    ways = ((template, False), (turned(template), True))
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
