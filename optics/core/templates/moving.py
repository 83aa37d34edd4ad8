"""Templates moved and turned on their paper; lengths stay."""

from collections.abc import Sequence
from dataclasses import replace

from optics.core.templates.template import Label, Point, Template


def moved_points(points: Sequence[Point], across_mm: float, down_mm: float) -> tuple[Point, ...]:
    return tuple((x + across_mm, y + down_mm) for x, y in points)


def moved_label(label: Label, across_mm: float, down_mm: float) -> Label:
    return replace(label, x_mm=label.x_mm + across_mm, y_mm=label.y_mm + down_mm)


def turned(template: Template) -> Template:
    """The template turned clockwise by 90°."""
    high = template.height_mm

    def turn(points: Sequence[Point]) -> tuple[Point, ...]:
        return tuple((high - y, x) for x, y in points)

    return replace(
        template,
        width_mm=high,
        height_mm=template.width_mm,
        lines=tuple(replace(line, points=turn(line.points)) for line in template.lines),
        labels=tuple(
            replace(label, x_mm=high - label.y_mm, y_mm=label.x_mm, turned_deg=label.turned_deg + 90)
            for label in template.labels
        ),
        lengths=tuple(replace(length, points=turn(length.points)) for length in template.lengths),
    )
