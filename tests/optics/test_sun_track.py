"""The sun's line on the film: closed forms, which side is which, times on the negative, and the drawing."""

import datetime as dt
import re
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optics.core.faults import Impossible
from optics.core.sun import SUN_CAUTION, mean_noon_utc_s, rise_and_set, sun_position
from optics.core.sun_track import (
    StandingCamera,
    day_tracks,
    film_direction,
    film_point,
    minutes_over_a_point,
    season_noons_utc_s,
    sun_track,
)
from optics.core.sun_track_svg import Clock, Negative, sun_tracks_svg

LATITUDE, LONGITUDE = 52.0, 5.0
WIDE_MM = 1e9


def on_film(s, y, width_mm, height_mm):
    hits = (np.abs(s) <= width_mm / 2) & (np.abs(y) <= height_mm / 2)
    return np.where(hits, s, np.nan), np.where(hits, y, np.nan)


def flat(distance_mm, width_mm=WIDE_MM, height_mm=WIDE_MM):
    return lambda x, y, z: on_film(distance_mm * x / z, distance_mm * y / z, width_mm, height_mm)


def centred_arc(radius_mm):
    return lambda x, y, z: (radius_mm * np.arctan2(x, z), radius_mm * y / np.hypot(x, z))


def tin(radius_mm, length_mm=WIDE_MM, height_mm=WIDE_MM):
    def hit(x, y, z):
        off_axis = np.arctan2(x, z)
        reach_mm = 2 * radius_mm * np.cos(off_axis)
        return on_film(2 * radius_mm * off_axis, reach_mm * y / np.hypot(x, z), length_mm, height_mm)

    return hit


def standing(hit, *, facing_deg=180.0, tilt_deg=0.0, latitude_deg=LATITUDE, longitude_deg=LONGITUDE):
    return StandingCamera(
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        facing_deg=facing_deg,
        tilt_deg=tilt_deg,
        hit=hit,
    )


def negative(width_mm, height_mm):
    return Negative(left_mm=-width_mm / 2, right_mm=width_mm / 2, bottom_mm=-height_mm / 2, top_mm=height_mm / 2)


def utc(*date_and_time):
    return dt.datetime(*date_and_time, tzinfo=dt.UTC).timestamp()


# Closed forms of SCIENCE §7 [derived], as magnitudes.
OFF_AXIS = np.array([-70.0, -20.0, 0.0, 35.0, 60.0])
ALTITUDE = np.array([5.0, 30.0, 61.0, 40.0, 12.0])


@pytest.mark.parametrize(
    ("hit", "s_mm", "y_mm"),
    [
        (flat(100), lambda a, _: 100 * np.tan(a), lambda a, h: 100 * np.tan(h) / np.cos(a)),
        (centred_arc(80), lambda a, _: 80 * a, lambda _, h: 80 * np.tan(h)),
        (tin(50), lambda a, _: 2 * 50 * a, lambda a, h: 2 * 50 * np.cos(a) * np.tan(h)),
    ],
    ids=["flat", "arc", "tin"],
)
def test_level_camera_follows_the_closed_forms(hit, s_mm, y_mm):
    a, h = np.radians(OFF_AXIS), np.radians(ALTITUDE)
    s, y = film_point(camera=standing(hit), altitude_deg=ALTITUDE, azimuth_deg=180 + OFF_AXIS)
    np.testing.assert_allclose(s, -s_mm(a, h), atol=1e-3)
    np.testing.assert_allclose(y, -y_mm(a, h), atol=1e-3)


def test_at_the_equinox_a_flat_back_facing_the_equator_draws_a_straight_line():
    # A sun of declination 0: sin h = cos φ cos H, and in azimuth tan A = sin H / (cos H sin φ) from south.
    latitude = np.radians(52)
    hour_angle = np.radians(np.linspace(-75, 75, 41))
    altitude = np.arcsin(np.cos(latitude) * np.cos(hour_angle))
    azimuth = 180 + np.degrees(np.arctan2(np.sin(hour_angle), np.cos(hour_angle) * np.sin(latitude)))
    s, y = film_point(camera=standing(flat(100)), altitude_deg=np.degrees(altitude), azimuth_deg=azimuth)
    np.testing.assert_allclose(y, -78.1286, atol=1e-4)
    np.testing.assert_allclose(s, -100 * np.tan(hour_angle) / np.sin(latitude), rtol=1e-9)


def test_the_real_equinox_comes_within_half_a_millimetre_of_that_line():
    noon = season_noons_utc_s(year=2026, longitude_deg=LONGITUDE)["march_equinox"]
    camera = standing(flat(100))
    track = sun_track(camera=camera, from_utc_s=noon - 3 * 3600, to_utc_s=noon + 3 * 3600)
    np.testing.assert_allclose(track.y_mm, -78.1286, atol=0.5)


@given(facing=st.floats(0, 360), tilt=st.floats(-90, 90), altitude=st.floats(-90, 90), azimuth=st.floats(0, 360))
@settings(derandomize=True, max_examples=60)
def test_the_turn_into_the_camera_keeps_angles(facing, tilt, altitude, azimuth):
    x, y, z = film_direction(altitude_deg=altitude, azimuth_deg=azimuth, facing_deg=facing, tilt_deg=tilt)
    assert x**2 + y**2 + z**2 == pytest.approx(1)
    h, t, a = np.radians([altitude, tilt, azimuth - facing])
    from_axis = np.sin(h) * np.sin(t) + np.cos(h) * np.cos(t) * np.cos(a)
    assert z == pytest.approx(from_axis, abs=1e-12)


@pytest.mark.parametrize(
    ("altitude", "azimuth", "tilt", "expected"),
    [
        (0, 180, 0, (0, 0, 1)),
        (0, 225, 0, (-(0.5**0.5), 0, 0.5**0.5)),  # right of an axis that points south: west
        (45, 180, 0, (0, -(0.5**0.5), 0.5**0.5)),  # above the axis
        (45, 180, 45, (0, 0, 1)),
        (0, 180, 45, (0, 0.5**0.5, 0.5**0.5)),
        (90, 0, 90, (0, 0, 1)),
        (0, 0, 0, (0, 0, -1)),
    ],
)
def test_a_sun_right_and_above_lands_left_and_below(altitude, azimuth, tilt, expected):
    direction = film_direction(altitude_deg=altitude, azimuth_deg=azimuth, facing_deg=180, tilt_deg=tilt)
    np.testing.assert_allclose(direction, expected, atol=1e-12)


def test_north_of_the_tropics_the_sun_crosses_a_south_facing_negative_from_right_to_left():
    (track,) = day_tracks(camera=standing(tin(50)), times_utc_s=utc(2026, 3, 1, 12))
    drawn = ~np.isnan(track.s_mm)
    assert np.all(np.diff(track.s_mm[drawn]) < 0)
    (track,) = day_tracks(camera=standing(tin(50), facing_deg=0, latitude_deg=-52), times_utc_s=utc(2026, 9, 1, 12))
    drawn = ~np.isnan(track.s_mm)
    assert np.all(np.diff(track.s_mm[drawn]) > 0)


def test_light_from_behind_the_plate_or_below_the_horizon_draws_nothing():
    s, y = film_point(camera=standing(flat(100)), altitude_deg=20.0, azimuth_deg=[0.0, 89.0, 271.0])
    assert np.isnan(s).all()
    assert np.isnan(y).all()
    (track,) = day_tracks(camera=standing(flat(100), facing_deg=0), times_utc_s=utc(2026, 12, 21, 12))
    assert track.passages == ()
    assert track.minutes_on_film == 0


def test_a_camera_that_sees_the_whole_sky_has_the_sun_from_rise_to_set():
    noon = utc(2026, 5, 4, 12)
    (track,) = day_tracks(camera=standing(lambda x, y, z: (x / z, y / z), tilt_deg=90), times_utc_s=noon)
    day = rise_and_set(time_utc_s=noon, latitude_deg=LATITUDE, longitude_deg=LONGITUDE)
    (passage,) = track.passages
    # Straight up, the plate hides the sun until its centre clears the horizon: some minutes here.
    assert 0 < passage.enters_utc_s - day.rise_utc_s < 500
    assert 0 < day.set_utc_s - passage.leaves_utc_s < 500
    (track,) = day_tracks(camera=standing(tin(50, 500, 1e6)), times_utc_s=utc(2026, 12, 21, 12))
    day = rise_and_set(time_utc_s=utc(2026, 12, 21, 12), latitude_deg=LATITUDE, longitude_deg=LONGITUDE)
    (passage,) = track.passages
    assert passage.enters_utc_s == pytest.approx(day.rise_utc_s, abs=0.02)
    assert passage.leaves_utc_s == pytest.approx(day.set_utc_s, abs=0.02)


def test_the_sun_comes_in_and_goes_out_at_the_edge_of_the_negative():
    camera = standing(flat(60, 178, 127), tilt_deg=30)
    (track,) = day_tracks(camera=camera, times_utc_s=utc(2026, 3, 20, 12))
    (passage,) = track.passages
    assert passage.enters_at_mm[0] == pytest.approx(89, abs=1e-3)
    assert passage.leaves_at_mm[0] == pytest.approx(-89, abs=1e-3)
    assert track.minutes_on_film == pytest.approx((passage.leaves_utc_s - passage.enters_utc_s) / 60)
    assert np.count_nonzero(~np.isnan(track.s_mm)) == pytest.approx(track.minutes_on_film, abs=1)


def test_a_low_negative_sees_the_high_sun_twice():
    (track,) = day_tracks(camera=standing(tin(40, 200, 110)), times_utc_s=utc(2026, 6, 21, 12))
    morning, evening = track.passages
    assert morning.leaves_utc_s < evening.enters_utc_s
    assert morning.leaves_at_mm[1] == pytest.approx(-55, abs=1e-2)
    assert evening.enters_at_mm[1] == pytest.approx(-55, abs=1e-2)


def test_the_first_row_is_the_start_and_an_open_passage_ends_with_the_range():
    start, end = utc(2026, 3, 20, 11), utc(2026, 3, 20, 12, 0, 30)
    track = sun_track(camera=standing(flat(100)), from_utc_s=start, to_utc_s=end)
    assert (track.time_utc_s[0], track.time_utc_s[-1], len(track.time_utc_s)) == (start, end, 62)
    (passage,) = track.passages
    assert (passage.enters_utc_s, passage.leaves_utc_s) == (start, end)
    sun = sun_position(time_utc_s=start, latitude_deg=LATITUDE, longitude_deg=LONGITUDE)
    assert (track.altitude_deg[0], track.azimuth_deg[0]) == (sun.altitude_deg, sun.azimuth_deg)


@given(hours=st.integers(-11, 11), longitude=st.floats(-180, 180), day=st.integers(0, 364))
@settings(derandomize=True, deadline=None, max_examples=25)
def test_the_day_drawn_does_not_depend_on_the_clock_it_was_asked_by(hours, longitude, day):
    noon = float(mean_noon_utc_s(date="2026-01-01", longitude_deg=longitude)) + day * 86_400
    camera = standing(tin(50, 220, 110), tilt_deg=20, longitude_deg=longitude)
    by_noon, by_another_clock = day_tracks(camera=camera, times_utc_s=[noon, noon + hours * 3600], step_s=600)
    np.testing.assert_allclose(by_another_clock.s_mm, by_noon.s_mm, atol=1e-4)
    assert by_another_clock.minutes_on_film == pytest.approx(by_noon.minutes_on_film, abs=1e-3)


@given(turn=st.floats(-170, 170))
@settings(derandomize=True, deadline=None, max_examples=25)
def test_a_place_a_turn_away_has_the_same_day_a_turn_later(turn):
    noon = utc(2026, 6, 21, 12)
    track, *_ = day_tracks(camera=standing(tin(50, 220, 110), longitude_deg=0.0), times_utc_s=noon, step_s=600)
    there = standing(tin(50, 220, 110), longitude_deg=turn)
    away, *_ = day_tracks(camera=there, times_utc_s=noon - turn * 240, step_s=600)
    assert away.minutes_on_film == pytest.approx(track.minutes_on_film, abs=0.3)


def test_season_days():
    # Equinoxes and solstices of 2026, UT: 20 Mar 14:46, 21 Jun 08:24, 23 Sep 00:05, 21 Dec 20:50 [memory].
    published = {
        "march_equinox": utc(2026, 3, 20, 14, 46),
        "june_solstice": utc(2026, 6, 21, 8, 24),
        "september_equinox": utc(2026, 9, 23, 0, 5),
        "december_solstice": utc(2026, 12, 21, 20, 50),
    }
    for longitude in (-170.0, 0.0, 170.0):
        noons = season_noons_utc_s(year=2026, longitude_deg=longitude)
        for name, moment in published.items():
            assert abs(noons[name] - moment) < 13 * 3600


def test_minutes_over_a_point():
    # 0.53334° at 15°/h: 2.133 min at the equinox; 0.4 mm at 100 mm is another 0.2292° [derived].
    at_equinox = minutes_over_a_point(declination_deg=0.0, hole_diameter_mm=0.0, distance_mm=100.0)
    assert at_equinox == pytest.approx(2.13336)
    with_hole = minutes_over_a_point(declination_deg=np.array([0.0, 23.44]), hole_diameter_mm=0.4, distance_mm=100.0)
    np.testing.assert_allclose(with_hole, [3.0501, 3.3245], atol=1e-3)


def test_refusals():
    camera = standing(flat(100))
    with pytest.raises(Impossible) as refusal:
        sun_track(camera=camera, from_utc_s=utc(2026, 1, 2), to_utc_s=utc(2026, 1, 1))
    assert refusal.value.code == "range_out_of_order"
    with pytest.raises(Impossible) as refusal:
        sun_track(camera=camera, from_utc_s=utc(2026, 1, 1), to_utc_s=utc(2026, 1, 2), step_s=0.1)
    assert refusal.value.code == "step_too_short"
    with pytest.raises(Impossible) as refusal:
        film_point(camera=standing(flat(100), tilt_deg=91), altitude_deg=0.0, azimuth_deg=0.0)
    assert refusal.value.code == "tilt_out_of_range"


SVG = "{http://www.w3.org/2000/svg}"


def drawing(hit, film, **camera):
    standing_camera = standing(hit, **camera)
    noons = season_noons_utc_s(year=2026, longitude_deg=standing_camera.longitude_deg)
    tracks = day_tracks(camera=standing_camera, times_utc_s=list(noons.values()), step_s=300)
    days = day_tracks(camera=standing_camera, times_utc_s=utc(2026, 2, 1, 12) + np.arange(3) * 86_400 * 20)
    return sun_tracks_svg(
        camera=standing_camera,
        negative=film,
        seasons=dict(zip(noons, tracks, strict=True)),
        days=dict(zip(["1 Feb", "21 Feb", "13 Mar"], days, strict=True)),
        clock=Clock(3600, "UTC+1 <winter>"),
    )


def test_the_drawing_is_to_scale_titled_and_free_of_styles():
    svg = drawing(flat(60, 178, 127), negative(178, 127), tilt_deg=30.0)
    root = ET.fromstring(svg)  # noqa: S314, our own text
    width = float(root.get("width").removesuffix("mm"))
    height = float(root.get("height").removesuffix("mm"))
    assert [float(part) for part in root.get("viewBox").split()] == [0, 0, width, height]
    assert [root[0].tag, root[1].tag] == [SVG + "title", SVG + "desc"]
    assert "52.00° N, 5.00° E" in root[0].text
    assert "UTC+1 <winter>" in root[1].text
    assert "style" not in svg
    assert "script" not in svg
    words = " ".join(text.text for text in root.iter(SVG + "text"))
    assert SUN_CAUTION in words
    assert "3 days drawn" in words
    frame = next(r for r in root.iter(SVG + "rect") if r.get("fill") == "none")
    assert (float(frame.get("width")), float(frame.get("height"))) == (178, 127)


def test_every_line_of_the_drawing_stays_on_the_negative():
    root = ET.fromstring(drawing(tin(40, 200, 110), negative(200, 110)))  # noqa: S314
    frame = next(r for r in root.iter(SVG + "rect") if r.get("fill") == "none")
    left, top, width, height = (float(frame.get(name)) for name in ("x", "y", "width", "height"))
    lines = [re.split("[ ,]", line.get("points")) for line in root.iter(SVG + "polyline")]
    assert len(lines) > 7
    for line in lines:
        x, y = np.array(line, dtype=float).reshape(-1, 2).T
        assert left - 0.01 <= x.min() <= x.max() <= left + width + 0.01
        assert top - 0.01 <= y.min() <= y.max() <= top + height + 0.01
    season_dashes = {line.get("stroke-dasharray") for line in root.iter(SVG + "path")}
    assert len(season_dashes - {None}) == 3


def test_a_negative_that_never_sees_the_sun_says_so():
    svg = drawing(flat(100, 40, 40), negative(40, 40), facing_deg=0.0)
    assert "not on the negative" in svg
    assert "0 to 0 min" in svg
    ET.fromstring(svg)  # noqa: S314
