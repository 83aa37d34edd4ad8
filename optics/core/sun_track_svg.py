"""A drawing of the sun's tracks on the negative, laid flat and to scale in millimetres.

Seen from behind the camera looking forward, as the tracks are: the sky is at the bottom, and what lies right
of the axis lands on the left. Presentation attributes only; black on white, lines told apart by dashes.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import cycle, product
from textwrap import wrap
from xml.sax.saxutils import escape

import numpy as np
from scipy.spatial.distance import cdist

from .sun import SUN_CAUTION, Floats
from .sun_orbit import DAY_S
from .sun_track import Passage, StandingCamera, SunTrack, film_point

LEAST_WIDTH_MM = 130.0
MARGIN_MM = 12.0
TEXT_MM = 3.0
SMALL_TEXT_MM = 2.3
ROW_MM = 4.8
EDGE_MM = 3.0
CHORD_MM = 0.7
HOUR_S = 3600

COMPASS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")


@dataclass(frozen=True)
class Stroke:
    width_mm: float
    dashes: str = ""

    @property
    def attributes(self) -> str:
        dashes = f' stroke-dasharray="{self.dashes}"' if self.dashes else ""
        return f'fill="none" stroke="black" stroke-linecap="round" stroke-width="{self.width_mm}"{dashes}'


SEASON_STROKES = (Stroke(0.5), Stroke(0.45, "2.6 1.6"), Stroke(0.7, "0.01 1.5"), Stroke(0.4, "4 1.4 0.6 1.4"))
DAY_STROKE = Stroke(0.15)
HORIZON_STROKE = Stroke(0.15, "6 1.5")


@dataclass(frozen=True, kw_only=True)
class Negative:
    """The laid-flat film, mm: s to the right and y up, counted as the camera's `hit` counts them."""

    left_mm: float
    right_mm: float
    bottom_mm: float
    top_mm: float


@dataclass(frozen=True)
class Clock:
    """How times are written: seconds ahead of UTC, and the name printed beside them."""

    ahead_of_utc_s: float = 0.0
    name: str = "UTC"

    def text(self, time_utc_s: float) -> str:
        minutes = round((time_utc_s + self.ahead_of_utc_s) % DAY_S / 60) % 1440
        return f"{minutes // 60:02d}:{minutes % 60:02d}"


UTC = Clock()


def sun_tracks_svg(
    *,
    camera: StandingCamera,
    negative: Negative,
    seasons: Mapping[str, SunTrack],
    days: Mapping[str, SunTrack] | None = None,
    clock: Clock = UTC,
) -> str:
    """The negative, its horizon, a bold line per season, a thin one per day, and their times, as one SVG.

    seasons: label → track, each of the first four with dashes of its own; whole hours are marked on it and a
    row of figures stands under the drawing. days: label → track of the days asked for, thin and labelled
    where there is room.
    """
    bold = list(zip(seasons.items(), cycle(SEASON_STROKES), strict=False))
    thin = list((days or {}).items())
    sheet = _Sheet(camera, negative)
    sheet.outline()
    sheet.horizon()
    for (_, track), stroke in bold:
        sheet.track(track, stroke)
    sheet.compass()
    for (_, track), _ in bold:
        sheet.hours(track, clock)
    for (label, track), _ in bold:
        sheet.name(label, track, sides=(1, -1))
    for _, track in thin:
        sheet.track(track, DAY_STROKE)
    for label, track in thin:
        sheet.name(label, track, sides=(1,))

    sheet.row(None, f"Sun on the negative ({clock.name})", "from – to", "time")
    for (label, track), stroke in bold:
        sheet.row(stroke, label, _times_text(track.passages, clock), f"{track.minutes_on_film:.0f} min")
    if thin:
        minutes = [track.minutes_on_film for _, track in thin]
        span = f"{min(minutes):.0f} to {max(minutes):.0f} min"
        sheet.row(DAY_STROKE, f"{thin[0][0]} to {thin[-1][0]}", f"{len(thin)} days drawn", span)
    sheet.note(
        f"Negative {sheet.width_mm:g} × {sheet.height_mm:g} mm, seen from behind the camera: the sky is at "
        "the bottom, left and right are exchanged. Cross: opposite the hole. Long dashes: the horizon. Small "
        "figures: hours. Reckoned for a level horizon and no cloud."
    )
    sheet.note(SUN_CAUTION)
    return sheet.document(_description(seasons, clock))


class _Sheet:
    """What is drawn and, over it, what is written; x to the right and y down, mm.

    Words give way to the lines and words that came before them.
    """

    def __init__(self, camera: StandingCamera, negative: Negative) -> None:
        self.camera = camera
        self.negative = negative
        self.width_mm = negative.right_mm - negative.left_mm
        self.height_mm = negative.top_mm - negative.bottom_mm
        self.page_mm = max(self.width_mm + 2 * MARGIN_MM, LEAST_WIDTH_MM)
        self.title = wrap(_title(camera), int((self.page_mm - 2 * EDGE_MM) / (0.52 * TEXT_MM)))
        self.left_mm = (self.page_mm - self.width_mm) / 2
        self.top_mm = EDGE_MM + len(self.title) * ROW_MM + EDGE_MM
        self.below_mm = self.top_mm + self.height_mm + ROW_MM
        self.lines: list[Floats] = []
        self.words: list[Floats] = []
        self.drawn: list[str] = []
        self.written: list[str] = []
        for number, part in enumerate(self.title, start=1):
            self.text(EDGE_MM, number * ROW_MM, part, TEXT_MM)

    def outline(self) -> None:
        """The negative's edge, a cross opposite the hole, and a bar to check the print with."""
        corner = f'x="{self.left_mm:.2f}" y="{self.top_mm:.2f}"'
        size = f'width="{self.width_mm:.2f}" height="{self.height_mm:.2f}"'
        self.drawn.append(f'<rect {corner} {size} fill="none" stroke="black" stroke-width="0.3"/>')
        x, y = self.place(*self.camera.hit(np.zeros(1), np.zeros(1), np.ones(1)))
        if np.isfinite(x[0]):
            self.path(f"M{x[0] - 1.5:.2f},{y[0]:.2f}h3m-1.5,-1.5v3", Stroke(0.2))
            self.lines.append(np.column_stack([x, y]))
        length = 50 if self.width_mm >= 100 else 10
        self.path(f"M{self.left_mm:.2f},{self.below_mm - 1:.2f}v2m0,-1h{length}m0,-1v2", Stroke(0.3))
        self.text(self.left_mm + length + 2, self.below_mm + 0.8, f"printed, {length} mm", SMALL_TEXT_MM)
        self.below_mm += 0.5 * ROW_MM

    def place(self, s_mm: Floats, y_mm: Floats) -> tuple[Floats, Floats]:
        return self.left_mm + s_mm - self.negative.left_mm, self.top_mm + self.negative.top_mm - y_mm

    def path(self, commands: str, stroke: Stroke) -> None:
        self.drawn.append(f'<path d="{commands}" {stroke.attributes}/>')

    def polyline(self, x: Floats, y: Floats, stroke: Stroke) -> None:
        """A line through the points, all but its ends thinned to one in each CHORD_MM of way."""
        way = np.cumsum(np.hypot(np.diff(x, prepend=x[0]), np.diff(y, prepend=y[0])))
        keep = np.diff(np.floor(way / CHORD_MM), prepend=-1) > 0
        keep[-1] = True
        points = np.column_stack([x, y])[keep]
        self.lines.append(points)
        coordinates = " ".join(f"{px:.2f},{py:.2f}" for px, py in points.tolist())
        self.drawn.append(f'<polyline points="{coordinates}" {stroke.attributes}/>')

    def text(
        self, x: float, y: float, words: str, size_mm: float, *, anchor: str = "start", turn_deg: float = 0.0
    ) -> None:
        turned = f' transform="rotate({turn_deg:.1f} {x:.2f} {y:.2f})"' if turn_deg else ""
        self.written.append(
            f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size_mm}" text-anchor="{anchor}" stroke="white" '
            f'stroke-width="0.6" stroke-linejoin="round" paint-order="stroke"{turned}>{escape(words)}</text>'
        )

    def text_if_free(self, x: float, y: float, words: str, turn_rad: float = 0.0) -> bool:
        """Small words centred on (x, y), unless they would cover a line or other words; tells whether."""
        size = SMALL_TEXT_MM
        half = 0.27 * size * len(words)
        along = np.linspace(-half, half, 2 + int(4 * half / size))[:, None]
        covered = np.array([x, y]) + along * np.array([np.cos(turn_rad), np.sin(turn_rad)])
        corner = np.array([self.left_mm, self.top_mm])
        room = np.array([self.width_mm, self.height_mm]) - size / 2
        if not np.all((covered > corner + size / 2) & (covered < corner + room)):
            return False
        if _least_gap(covered, self.lines) < 0.6 * size or _least_gap(covered, self.words) < 0.9 * size:
            return False
        self.words.append(covered)
        down_mm = 0.35 * size  # from the middle of the letters to their baseline
        base_x, base_y = x - down_mm * np.sin(turn_rad), y + down_mm * np.cos(turn_rad)
        self.text(base_x, base_y, words, size, anchor="middle", turn_deg=float(np.degrees(turn_rad)))
        return True

    def track(self, track: SunTrack, stroke: Stroke) -> None:
        for passage in track.passages:
            _, s_mm, y_mm = _stretch(track, passage)
            self.polyline(*self.place(s_mm, y_mm), stroke)

    def hours(self, track: SunTrack, clock: Clock) -> None:
        for passage in track.passages:
            time, s_mm, y_mm = _stretch(track, passage)
            first = np.ceil((time[0] + clock.ahead_of_utc_s) / HOUR_S) * HOUR_S - clock.ahead_of_utc_s
            hours = np.arange(first, time[-1], HOUR_S)
            xs, ys = self.place(np.interp(hours, time, s_mm), np.interp(hours, time, y_mm))
            slopes = np.interp(hours, time, _slopes(*self.place(s_mm, y_mm)))
            for hour, x, y, slope in zip(hours, xs, ys, slopes, strict=True):
                self.drawn.append(f'<circle cx="{x:.2f}" cy="{y:.2f}" r="0.65" fill="black"/>')
                self._beside(x, y, slope, str(int(clock.text(hour)[:2])), sides=(-1, 1), turned=False)

    def name(self, label: str, track: SunTrack, *, sides: tuple[int, ...]) -> None:
        """Write the label along its line, below (1) or above (−1) it, as near the middle as there is room."""
        shares = sorted(np.linspace(0.08, 0.92, 29), key=lambda share: abs(share - 0.5))
        for side, passage, share in product(sides, track.passages, shares):
            _, s_mm, y_mm = _stretch(track, passage)
            x, y = self.place(s_mm, y_mm)
            k = int(share * len(x))
            if self._beside(x[k], y[k], _slopes(x, y)[k], label, sides=(side,), turned=True):
                return

    def _beside(self, x: float, y: float, slope: float, words: str, *, sides: tuple[int, ...], turned: bool) -> bool:
        """Small words below (1) or above (−1) a line of that slope; tells whether there was room."""
        return any(
            self.text_if_free(
                x - side * SMALL_TEXT_MM * np.sin(slope),
                y + side * SMALL_TEXT_MM * np.cos(slope),
                words,
                slope if turned else 0.0,
            )
            for side in sides
        )

    def horizon(self) -> None:
        azimuth = self.camera.facing_deg + np.arange(-89.5, 90, 0.5)
        s_mm, y_mm = film_point(camera=self.camera, altitude_deg=0.0, azimuth_deg=azimuth)
        seen = np.flatnonzero(np.isfinite(s_mm))
        for run in np.split(seen, np.flatnonzero(np.diff(seen) > 1) + 1):
            if run.size:
                self.polyline(*self.place(s_mm[run], y_mm[run]), HORIZON_STROKE)

    def compass(self) -> None:
        bearing = 360 / len(COMPASS) * np.arange(len(COMPASS))
        s_mm, y_mm = film_point(camera=self.camera, altitude_deg=0.0, azimuth_deg=bearing)
        for words, x, y in zip(COMPASS, *self.place(s_mm, y_mm), strict=True):
            if np.isfinite(x):
                self.path(f"M{x:.2f},{y - 0.8:.2f}v1.6", Stroke(0.3))
                self.text_if_free(x, y - SMALL_TEXT_MM, words)

    def row(self, stroke: Stroke | None, *columns: str) -> None:
        self.below_mm += ROW_MM
        if stroke:
            self.path(f"M{EDGE_MM},{self.below_mm - 0.35 * TEXT_MM:.2f}h12", stroke)
        for x, words in zip((18.0, 0.52 * self.page_mm, 0.8 * self.page_mm), columns, strict=True):
            self.text(x, self.below_mm, words, TEXT_MM)

    def note(self, words: str) -> None:
        self.below_mm += 0.3 * ROW_MM
        for part in wrap(words, int((self.page_mm - 2 * EDGE_MM) / (0.5 * SMALL_TEXT_MM))):
            self.below_mm += 0.75 * ROW_MM
            self.text(EDGE_MM, self.below_mm, part, SMALL_TEXT_MM)

    def document(self, description: str) -> str:
        width, height = f"{self.page_mm:.2f}", f"{self.below_mm + EDGE_MM:.2f}"
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" role="img" width="{width}mm" height="{height}mm" '
            f'viewBox="0 0 {width} {height}" font-family="sans-serif">\n'
            f"<title>{escape(' '.join(self.title))}</title>\n<desc>{escape(description)}</desc>\n"
            '<rect width="100%" height="100%" fill="white"/>\n' + "\n".join(self.drawn + self.written) + "\n</svg>\n"
        )


def _stretch(track: SunTrack, passage: Passage) -> tuple[Floats, Floats, Floats]:
    """Time, s and y of a passage: the rows of the track within it, and its two ends."""
    within = (track.time_utc_s > passage.enters_utc_s) & (track.time_utc_s < passage.leaves_utc_s)
    ends = (passage.enters_at_mm, passage.leaves_at_mm)
    return (
        np.concatenate([[passage.enters_utc_s], track.time_utc_s[within], [passage.leaves_utc_s]]),
        np.concatenate([[ends[0][0]], track.s_mm[within], [ends[1][0]]]),
        np.concatenate([[ends[0][1]], track.y_mm[within], [ends[1][1]]]),
    )


def _slopes(x: Floats, y: Floats) -> Floats:
    """Angle of a line at each of its points, rad, from −π/2 to π/2 as words beside it are read."""
    slope = np.arctan2(np.gradient(y), np.gradient(x))
    return slope - np.pi * np.round(slope / np.pi)


def _least_gap(points: Floats, others: list[Floats]) -> float:
    """The least distance between some points (n, 2) and any of the others."""
    if not others:
        return float("inf")
    return float(cdist(points, np.concatenate(others)).min())


def _times_text(passages: tuple[Passage, ...], clock: Clock) -> str:
    if not passages:
        return "not on the negative"
    return ", ".join(f"{clock.text(p.enters_utc_s)}–{clock.text(p.leaves_utc_s)}" for p in passages)


def _title(camera: StandingCamera) -> str:
    north = f"{abs(camera.latitude_deg):.2f}° {'N' if camera.latitude_deg >= 0 else 'S'}"
    east = f"{abs(camera.longitude_deg):.2f}° {'E' if camera.longitude_deg >= 0 else 'W'}"
    tilt = f", tilted {camera.tilt_deg:+g}°" if camera.tilt_deg else ""
    return f"The sun on the negative at {north}, {east}, camera facing {camera.facing_deg:g}°{tilt}"


def _description(seasons: Mapping[str, SunTrack], clock: Clock) -> str:
    lines = [f"{label}: {_times_text(track.passages, clock)}" for label, track in seasons.items()]
    return f"Times in {clock.name}. " + "; ".join(lines) + "."
