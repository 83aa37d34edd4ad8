"""What of a line lies in a window."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from optics.core.templates.svg import Box
from optics.core.templates.template import Line, Point


def holds(window: Box, points: Sequence[Point]) -> bool:
    """Whether all points lie in the window, its edges included."""
    left, top, right, bottom = window
    return all(left <= x <= right and top <= y <= bottom for x, y in points)


def clipped(line: Line, window: Box) -> tuple[Line, ...]:
    """The pieces of a line that lie in a window, its edges included; a closed line that leaves it falls open."""
    if holds(window, line.points):
        return (line,)
    points = (*line.points, line.points[0]) if line.closed else line.points
    pieces: list[list[Point]] = []
    for start, end in pairwise(points):
        part = _clipped_segment(start, end, window)
        if part is None:
            continue
        if pieces and pieces[-1][-1] == part[0]:
            pieces[-1].append(part[1])
        else:
            pieces.append(list(part))
    if line.closed and len(pieces) > 1 and pieces[-1][-1] == pieces[0][0]:
        pieces[0] = pieces.pop() + pieces[0][1:]
    return tuple(replace(line, points=tuple(piece), closed=False) for piece in pieces)


def _clipped_segment(start: Point, end: Point, window: Box) -> tuple[Point, Point] | None:
    """The part of a segment in a window, after Liang and Barsky (1984); None where there is no length of it."""
    first, last = 0.0, 1.0
    for axis in range(2):
        step = end[axis] - start[axis]
        low, high = window[axis] - start[axis], window[axis + 2] - start[axis]
        if step == 0:
            if not low <= 0 <= high:
                return None
            continue
        near, far = sorted((low / step, high / step))
        first, last = max(first, near), min(last, far)
    if first >= last or start == end:
        return None

    def at(share: float) -> Point:
        return start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1])

    return (start if first == 0 else at(first)), (end if last == 1 else at(last))
