"""Cameras, members or papers on one scale as a plot: a dot, its interval, and the single logs about it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from exposures.web.plots import LETTER, WIDTH, head, text

LEFT, RIGHT, TOP, ROW = 12.0, 12.0, 42.0, 40.0
#: The scale reaches at least so far to either side; neither an interval nor a log widens it beyond so far, in stops.
LEAST_STOPS, MOST_STOPS, MOST_FOR_A_LOG_STOPS = 1.0, 5.0, 2.0


@dataclass(frozen=True)
class Dot:
    """One row: an offset with its interval, and the logs that it comes of, all in stops."""

    name: str
    stops: float
    low_stops: float
    high_stops: float
    logs_stops: Sequence[float] = ()


def reach_of(dots: Sequence[Dot]) -> float:
    """How far the scale reaches to either side, in whole stops."""
    ends = [abs(end) for dot in dots for end in (dot.low_stops, dot.high_stops)]
    logs = [min(abs(stops), MOST_FOR_A_LOG_STOPS) for dot in dots for stops in dot.logs_stops]
    return float(np.ceil(min(max([LEAST_STOPS, *ends, *logs]), MOST_STOPS)))


def across(stops: float, reach: float) -> float:
    """The pixel of an offset, held within the scale."""
    share = (min(max(stops, -reach), reach) + reach) / (2 * reach)
    return LEFT + share * (WIDTH - LEFT - RIGHT)


def comparison_svg(title: str, dots: Sequence[Dot]) -> str:
    """One row for each, in the order given; zero is what all of them are together."""
    reach, height = reach_of(dots), TOP + ROW * len(dots) + 6
    said = [f"{dot.name}: {dot.stops:+.1f} stops, from {dot.low_stops:+.1f} to {dot.high_stops:+.1f}." for dot in dots]
    parts = [head(height, title, " ".join(said)), *_scale(reach, height)]
    for place, dot in enumerate(dots):
        parts += _row(dot, reach, TOP + ROW * place)
    return "".join(parts) + "</svg>"


def _scale(reach: float, height: float) -> Iterator[str]:
    yield text(WIDTH / 2, LETTER, "stops under (−) or over (+) the others", ' text-anchor="middle"')
    for stops in range(-int(reach), int(reach) + 1):
        at, look = across(stops, reach), "" if stops == 0 else ' stroke-opacity=".25"'
        yield f'<path class="grid" d="M{at:.1f} {TOP - 8:g}V{height - 4:g}"{look}/>'
        yield text(at, TOP - 13, f"{stops:+d}".replace("-", "−") if stops else "0", ' text-anchor="middle"')


def _row(dot: Dot, reach: float, top: float) -> Iterator[str]:
    low, at, high = (across(stops, reach) for stops in (dot.low_stops, dot.stops, dot.high_stops))
    middle = top + 25
    yield text(LEFT, top + 8, dot.name if len(dot.name) <= MOST_LETTERS else dot.name[: MOST_LETTERS - 1] + "…")
    for stops in dot.logs_stops:
        yield f'<circle class="log" cx="{across(stops, reach):.1f}" cy="{middle + 6:g}" r="2" stroke-opacity=".6"/>'
    yield f'<path class="interval" d="M{low:.1f} {middle - 4:g}v8m0-4H{high:.1f}m0-4v8" stroke-width="1.5"/>'
    yield f'<circle class="offset" cx="{at:.1f}" cy="{middle:g}" r="4.5" fill="currentColor"/>'


#: A longer name is cut short on the plot; the table has all of it.
MOST_LETTERS = 44
