"""What the log says as plots: SVG in the colour of the page's text, told apart by shade, dash and shape.

Units are CSS pixels of a narrow phone; a wider page shows the same larger. Each plot has a title and a description that
says its main numbers; the page puts all of them in a table below.
"""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from html import escape
from textwrap import wrap

import numpy as np

from exposures.models import Grade
from exposures.reciprocity.result import CurvePoint
from optics.core.say import say_time

WIDTH, LEFT, RIGHT, TOP, LETTER = 300.0, 34.0, 14.0, 26.0, 12.0
PANEL = 210.0
#: What fits beside a sample of the legend, in letters of the usual width.
LEGEND_LETTERS = 34
#: Indicated times that the axis marks, s.
MARKED_S = (1.0, 4.0, 15.0, 60.0, 240.0, 900.0, 3600.0)
#: Nothing longer is said, s: 30 days. An interval is drawn so far beyond the line at most, in stops.
LONGEST_S, MOST_BEYOND_STOPS = 30 * 86_400.0, 2.0
#: Farther than this nothing is drawn, in stops.
MOST_STOPS = 20.0
_GRADE_WORDS = {Grade.JUDGED: "judged by eye", Grade.BRACKETED: "read off a strip", Grade.DENSITOMETER: "measured"}


@dataclass(frozen=True)
class Mark:
    """A log on a paper's plot: `time_s` was given and was right for `indicated_s`, by that log."""

    indicated_s: float
    time_s: float
    grade: str
    doubtful: bool


@dataclass(frozen=True)
class Scales:
    """Indicated times across, by their logarithm, and what to add to them upwards, in stops of time, to pixels."""

    shortest_s: float
    longest_s: float
    low_stops: float
    high_stops: float

    def x(self, indicated_s: float) -> float:
        share = np.log(indicated_s / self.shortest_s) / np.log(self.longest_s / self.shortest_s)
        return float(LEFT + share * (WIDTH - RIGHT - LEFT))

    def y(self, stops: float) -> float:
        """Held within the scale."""
        share = (min(max(stops, self.low_stops), self.high_stops) - self.low_stops) / (self.high_stops - self.low_stops)
        return float(TOP + PANEL - share * PANEL)

    def hold(self, indicated_s: float, stops: float) -> bool:
        return self.shortest_s <= indicated_s <= self.longest_s and self.low_stops <= stops <= self.high_stops


def correction(indicated_s: float, time_s: float) -> float:
    """What a time is longer (+) than the indicated one, in stops; infinite where no time would do."""
    with np.errstate(divide="ignore"):
        return float(np.log2(time_s / indicated_s))


def scales_of(curve: Sequence[CurvePoint], marks: Iterable[Mark]) -> Scales:
    """Whole stops that hold the line, a good part of its intervals, and every log beside it."""
    shortest, longest = curve[0].indicated_s, curve[-1].indicated_s
    line = [correction(p.indicated_s, p.time_s) for p in curve if np.isfinite(p.time_s)] or [0.0]
    ends = [correction(p.indicated_s, end) for p in curve for end in p.ninety]
    held = [min(max(end, min(line) - MOST_BEYOND_STOPS), max(line) + MOST_BEYOND_STOPS) for end in ends]
    logs = [correction(m.indicated_s, m.time_s) for m in marks if shortest <= m.indicated_s <= longest]
    low, high = (min(max(end, -MOST_STOPS), MOST_STOPS) for end in (min(0, *held, *logs), max(1, *held, *logs)))
    return Scales(shortest, longest, float(np.floor(low)), float(np.ceil(high)))


def paper_svg(
    name: str,
    curve: Sequence[CurvePoint],
    *,
    marks: Sequence[Mark] = (),
    published_s: Sequence[Sequence[float]] = (),
    published_law: str = "",
) -> str:
    """What to add to the indicated time, in stops, against its logarithm, with what the club logged.

    `curve` rises by its indicated times; `published_s` are (indicated, corrected) times of a data sheet: the rows of a
    table, or points of the law that `published_law` names.
    """
    scales = scales_of(curve, marks)
    shown = [mark for mark in marks if scales.hold(mark.indicated_s, correction(mark.indicated_s, mark.time_s))]
    table = [pair for pair in published_s if scales.hold(pair[0], correction(*pair))]
    legend = _legend(
        shown,
        dashed=any(point.extrapolating for point in curve),
        published=_sheet(published_law) if table else (),
    )
    height = TOP + PANEL + 44 + 18 * len(legend)
    parts = [
        head(height, f"Times for {name}", _said(curve, len(marks), len(shown))),
        *_axes(scales),
        _band(curve, "ninety", scales, 'fill-opacity=".1" stroke-dasharray="2 3"'),
        _band(curve, "half", scales, 'fill-opacity=".22"'),
        *_line(curve, scales),
        *_published([_at(scales, *pair) for pair in table], as_line=bool(published_law)),
        *(_mark(mark, *_at(scales, mark.indicated_s, mark.time_s)) for mark in shown),
        *_written(legend, TOP + PANEL + 50),
    ]
    return "".join(parts) + "</svg>"


def _at(scales: Scales, indicated_s: float, time_s: float) -> tuple[float, float]:
    return scales.x(indicated_s), scales.y(correction(indicated_s, time_s))


def head(height: float, title: str, said: str) -> str:
    """The beginning of a plot so high, with its title and its numbers in words."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:g}" role="img" fill="none" '
        f'stroke="currentColor" font-family="sans-serif" font-size="{LETTER:g}">'
        f"<title>{escape(title)}</title><desc>{escape(said)}</desc>"
    )


def _said(curve: Sequence[CurvePoint], logs: int, shown: int) -> str:
    told = [point for point in curve if point.indicated_s in {4.0, 64.0, 1024.0}]
    said = [
        f"Where {say_time(point.indicated_s)} is indicated, give {say_end(point.time_s)}; nine times in ten the right "
        f"time lies from {say_end(point.ninety[0])} to {say_end(point.ninety[1])}."
        for point in told
    ]
    said.append(f"{shown} of {logs} logs are drawn." if logs != shown else f"{logs} logs are drawn.")
    return " ".join(said)


def say_end(time_s: float) -> str:
    """A time of a curve or the end of an interval, which may be beyond all times."""
    return say_time(time_s) if time_s <= LONGEST_S else "no time at all" if np.isnan(time_s) else "beyond a month"


def text(x: float, y: float, words: str, more: str = "") -> str:
    """Words at a place; `more` are further attributes."""
    return f'<text x="{x:.1f}" y="{y:.1f}" fill="currentColor" stroke="none"{more}>{escape(words)}</text>'


def _axes(scales: Scales) -> Iterator[str]:
    yield text(2, 13, "stops of time to add")
    yield text((LEFT + WIDTH - RIGHT) / 2, TOP + PANEL + 32, "indicated time", ' text-anchor="middle"')
    every = 1 if scales.high_stops - scales.low_stops <= 8 else 4
    for stops in range(int(scales.low_stops), int(scales.high_stops) + 1):
        if stops % every == 0:
            at, look = scales.y(stops), "" if stops == 0 else ' stroke-opacity=".25"'
            yield f'<path class="grid" d="M{LEFT:g} {at:.1f}H{WIDTH - RIGHT:g}"{look}/>'
            yield text(LEFT - 5, at + 4, f"{stops:+d}".replace("-", "−") if stops else "0", ' text-anchor="end"')
    for time in MARKED_S:
        at = scales.x(time)
        yield f'<path class="grid" d="M{at:.1f} {TOP:g}V{TOP + PANEL:g}" stroke-opacity=".25"/>'
        yield text(at, TOP + PANEL + 16, say_time(time), ' text-anchor="middle" font-size="11"')


def _band(curve: Sequence[CurvePoint], name: str, scales: Scales, look: str) -> str:
    upper = [_pair(_at(scales, p.indicated_s, getattr(p, name)[1])) for p in curve]
    lower = [_pair(_at(scales, p.indicated_s, getattr(p, name)[0])) for p in reversed(curve)]
    points = " ".join(upper + lower)
    return f'<polygon class="{name}" points="{points}" fill="currentColor" stroke-width=".8" {look}/>'


def _line(curve: Sequence[CurvePoint], scales: Scales) -> Iterator[str]:
    """Dashed throughout, and solid over that where the club has logs."""
    told = [p for p in curve if scales.hold(p.indicated_s, correction(p.indicated_s, p.time_s))]
    logged = [p for p in told if not p.extrapolating]
    dashed, solid = 'stroke-dasharray="6 4" stroke-width="1.5"', 'stroke-width="2.5"'
    for name, of, look in (("beyond", told, dashed), ("best", logged, solid)):
        if of:
            points = " ".join(_pair(_at(scales, p.indicated_s, p.time_s)) for p in of)
            yield f'<polyline class="{name}" points="{points}" {look}/>'


def _pair(place: tuple[float, float]) -> str:
    return f"{place[0]:.1f},{place[1]:.1f}"


def _published(places: Sequence[tuple[float, float]], *, as_line: bool) -> Iterator[str]:
    """What a data sheet says: its law as a dotted line, or its rows."""
    if as_line and places:
        yield f'<polyline class="published" points="{" ".join(map(_pair, places))}" {_DOTTED}/>'
    elif not as_line:
        yield from (_diamond(x, y) for x, y in places)


_DOTTED = 'stroke-dasharray="1 4" stroke-linecap="round" stroke-width="2.5"'


def _sheet(law: str) -> list[tuple[str, str]]:
    """A data sheet's sample and words in the legend, on as many lines as they take."""
    if not law:
        return [(_diamond(0, 0), "the data sheet's table")]
    unbroken = re.sub(r"(?<=\d) (?=\w)", "\N{NO-BREAK SPACE}", law)  # a number stays with its unit
    first, *more = wrap(f"{unbroken}, by its data sheet", LEGEND_LETTERS, break_on_hyphens=False)
    return [(f'<path d="M-12 0h24" {_DOTTED}/>', first), *(("", words) for words in more)]


def _diamond(x: float, y: float) -> str:
    return f'<path class="published" d="M{x:.1f} {y - 5:.1f}l5 5-5 5-5-5z" stroke-width="1.5"/>'


def _mark(mark: Mark, x: float, y: float) -> str:
    """A ring, a square or a triangle by how the result was told; crossed where it is doubted."""
    shape = {
        Grade.JUDGED: f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.5"/>',
        Grade.BRACKETED: f'<rect x="{x - 3:.1f}" y="{y - 3:.1f}" width="6" height="6" fill="currentColor"/>',
        Grade.DENSITOMETER: f'<path d="M{x:.1f} {y - 4.5:.1f}l4 7.5h-8z" fill="currentColor"/>',
    }[Grade(mark.grade)]
    cross = f'<path d="M{x - 7:.1f} {y - 7:.1f}l14 14m0-14l-14 14" stroke-width="1.5"/>' if mark.doubtful else ""
    return f'<g class="log{" doubtful" if mark.doubtful else ""}">{shape}{cross}</g>'


def _legend(marks: Sequence[Mark], *, dashed: bool, published: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    """What is drawn, each with a sample 24 wide about (0, 0)."""
    rows = [('<path d="M-12 0h24" stroke-width="2.5"/>', "best line")]
    if dashed:
        rows.append(('<path d="M-12 0h24" stroke-dasharray="6 4" stroke-width="1.5"/>', "beyond what was logged"))
    band = '<rect x="-12" y="-5" width="24" height="10" fill="currentColor" stroke-width=".8" '
    rows.append((band + 'fill-opacity=".32"/>', "holds the right time one time in two"))
    rows.append((band + 'fill-opacity=".1" stroke-dasharray="2 3"/>', "holds it nine times in ten"))
    for grade, words in _GRADE_WORDS.items():
        if any(mark.grade == grade for mark in marks):
            rows.append((_mark(Mark(1.0, 1.0, grade, doubtful=False), 0, 0), f"a log, {words}"))
    if any(mark.doubtful for mark in marks):
        rows.append((_mark(Mark(1.0, 1.0, Grade.JUDGED, doubtful=True), 0, 0), "a log that looks wrong"))
    return [*rows, *published]


def _written(rows: Sequence[tuple[str, str]], top: float) -> Iterator[str]:
    for place, (sample, words) in enumerate(rows):
        at = top + 18 * place
        yield f'<g class="legend" transform="translate({LEFT:g} {at:g})">{sample}</g>' + text(LEFT + 20, at + 4, words)
