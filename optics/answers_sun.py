"""The sun over a place and on a camera's film, and what light to expect."""

from datetime import UTC, datetime
from typing import Any

import numpy as np

from optics.core.camera_plan import Hole
from optics.core.daylight import daylight
from optics.core.film_planes import FilmPlane
from optics.core.sun import SUN_CAUTION, rise_and_set, sun_day_flags, sun_position
from optics.core.sun_track import (
    Passage,
    StandingCamera,
    SunTrack,
    day_tracks,
    film_point,
    minutes_over_a_point,
    season_noons_utc_s,
    sun_track,
)
from optics.core.sun_track_svg import Clock, Negative, sun_tracks_svg

SKIES = ("clear", "hazy", "overcast")
MOST_ROWS = 200
#: Days drawn as thin lines beside the seasons, and cells of the map of minutes.
DRAWN_DAYS = 12
COLUMNS, ROWS = 40, 16


def sun(
    *,
    latitude: float,
    longitude: float,
    starts: datetime,
    to: datetime,
    step: float | None = None,
    film_plane: FilmPlane | None = None,
    facing: float = 0.0,
    tilt: float = 0.0,
    hole: Hole | None = None,
) -> dict[str, Any]:
    """The track from `starts` to `to`; with a film plane also where it runs on the film, and when."""
    clock = starts.tzinfo
    place: dict[str, Any] = {"latitude_deg": latitude, "longitude_deg": longitude}
    start_s, end_s = starts.timestamp(), to.timestamp()
    step_s = step or max(60.0, np.ceil((end_s - start_s) / MOST_ROWS / 60) * 60)
    times = np.append(np.arange(start_s, end_s, step_s), end_s)
    where = sun_position(time_utc_s=times, **place)
    day = rise_and_set(time_utc_s=start_s, **place)
    answer: dict[str, Any] = {
        "caution": SUN_CAUTION,
        "rise": _moment(day.rise_utc_s, clock),
        "transit": _moment(day.transit_utc_s, clock),
        "set": _moment(day.set_utc_s, clock),
        "daylight": [daylight(altitude_deg=float(np.max(where.altitude_deg)), sky=sky) for sky in SKIES],
        "flags": sun_day_flags(day),
    }
    rows = {"altitude_deg": where.altitude_deg, "azimuth_deg": where.azimuth_deg}
    if film_plane is not None:
        camera = StandingCamera(**place, facing_deg=facing, tilt_deg=tilt, hit=film_plane.meet)
        rows["x_mm"], rows["y_mm"] = film_point(camera=camera, **rows)
        answer["on_film"] = _on_film(
            camera=camera, plane=film_plane, hole=hole, start_s=start_s, end_s=end_s, clock=clock
        )
    columns = zip(*(np.asarray(values).tolist() for values in rows.values()), strict=True)
    answer["track"] = [
        {"time": _moment(time, clock), **dict(zip(rows, row, strict=True))}
        for time, row in zip(times, columns, strict=True)
    ]
    return answer


def _on_film(
    *, camera: StandingCamera, plane: FilmPlane, hole: Hole | None, start_s: float, end_s: float, clock: Any
) -> dict[str, Any]:
    """Entries to and exits from the negative, minutes on each cell of it, and the drawing."""
    fine = 60.0 if end_s - start_s < 3 * 86400 else 120.0
    track = sun_track(camera=camera, from_utc_s=start_s, to_utc_s=end_s, step_s=fine)
    dwell = None
    if hole is not None:
        middle = sun_position(
            time_utc_s=(start_s + end_s) / 2, latitude_deg=camera.latitude_deg, longitude_deg=camera.longitude_deg
        )
        dwell = 60 * minutes_over_a_point(
            declination_deg=middle.declination_deg,
            hole_diameter_mm=hole.diameter_mm,
            distance_mm=plane.axis_distance_mm,
        )
    return {
        "passages": [_passage(passage, clock) for passage in track.passages],
        "time_on_film_s": 60 * track.minutes_on_film,
        "dwell_s": dwell,
        "map": _minutes_map(track, plane, fine / 60),
        "svg": _drawing(camera, plane, start_s, end_s, clock),
    }


def _passage(passage: Passage, clock: Any) -> dict[str, Any]:
    ends = zip(
        ("enters", "leaves"),
        (passage.enters_utc_s, passage.leaves_utc_s),
        (passage.enters_at_mm, passage.leaves_at_mm),
        strict=True,
    )
    return {name: {"time": _moment(time, clock), "x_mm": x, "y_mm": y} for name, time, (x, y) in ends}


def _minutes_map(track: SunTrack, plane: FilmPlane, minutes_each: float) -> dict[str, Any]:
    """Minutes that the middle of the sun's image spent in each of `COLUMNS` × `ROWS` equal cells."""
    half_x, half_y = plane.length_mm / 2, plane.height_mm / 2
    on_film = np.isfinite(track.s_mm) & np.isfinite(track.y_mm)
    counts, y_edges, x_edges = np.histogram2d(
        track.y_mm[on_film],
        track.s_mm[on_film],
        bins=(ROWS, COLUMNS),
        range=((-half_y, half_y), (-half_x, half_x)),
    )
    return {
        "x": (x_edges[1:] + x_edges[:-1]) / 2,
        "y": (y_edges[1:] + y_edges[:-1]) / 2,
        "minutes": counts * minutes_each,
    }


def _drawing(camera: StandingCamera, plane: FilmPlane, start_s: float, end_s: float, clock: Any) -> str:
    first = datetime.fromtimestamp(start_s, clock)
    noons = season_noons_utc_s(year=first.year, longitude_deg=camera.longitude_deg)
    labels = {
        f"{name.replace('_', ' ').capitalize()} {datetime.fromtimestamp(noon, clock):%-d %B}": noon
        for name, noon in noons.items()
        if name != "september_equinox"  # the March line, to a pen's width
    }
    days = np.linspace(start_s, end_s, max(1, min(DRAWN_DAYS, round((end_s - start_s) / 86400))), endpoint=False)
    drawn = {f"{datetime.fromtimestamp(day, clock):%-d %b}": day for day in days + 43200 * (len(days) > 1)}
    tracks = day_tracks(camera=camera, times_utc_s=[*labels.values(), *drawn.values()], step_s=120.0)
    half_x, half_y = plane.length_mm / 2, plane.height_mm / 2
    offset = first.utcoffset()
    ahead = offset.total_seconds() if offset else 0.0
    name = "UTC" if ahead == 0 else f"UTC{ahead / 3600:+g} h"
    return sun_tracks_svg(
        camera=camera,
        negative=Negative(left_mm=-half_x, right_mm=half_x, bottom_mm=-half_y, top_mm=half_y),
        seasons=dict(zip(labels, tracks[: len(labels)], strict=True)),
        days=dict(zip(drawn, tracks[len(labels) :], strict=True)),
        clock=Clock(ahead, name),
    )


def _moment(time_utc_s: Any, clock: Any) -> datetime | None:
    """An instant on the caller's clock; None where there is none."""
    if not np.isfinite(time_utc_s):
        return None
    return datetime.fromtimestamp(float(time_utc_s), UTC).astimezone(clock or UTC)
