"""The sun and the progress endpoints."""

from datetime import datetime
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from rest_framework.test import APIClient

from optics.core import profiles
from optics.core.film_planes import FilmPlane
from optics.core.progress import Segment, progress
from optics.core.reciprocity import PowerLaw
from optics.core.sun import sun_position

TIN = {"kind": "drum", "diameter": "100 mm", "length": "150 mm", "height": "80 mm"}
DAY: dict[str, Any] = {
    "latitude": "52 deg",
    "longitude": "1.2 deg",
    "from": "2026-06-21T04:00:00+01:00",
    "to": "2026-06-21T22:00:00+01:00",
}


def ask(api: APIClient, name: str, body: dict[str, Any], status: int = 200) -> dict[str, Any]:
    response = api.post(f"/api/v1/optics/{name}/", body)
    assert response.status_code == status, response.content
    return response.json()


def test_the_track_starts_at_from_and_is_the_core_s(api: APIClient) -> None:
    found = ask(api, "sun", DAY)
    assert found["track"][0]["time"] == DAY["from"]
    assert found["track"][-1]["time"] == DAY["to"]
    for row in (found["track"][0], found["track"][90]):
        where = sun_position(
            time_utc_s=datetime.fromisoformat(row["time"]).timestamp(), latitude_deg=52, longitude_deg=1.2
        )
        assert row["altitude"] == {"value": pytest.approx(where.altitude_deg), "unit": "deg"}
        assert row["azimuth"] == {"value": pytest.approx(where.azimuth_deg), "unit": "deg"}
    assert found["rise"] < found["transit"] < found["set"]
    assert "on_film" not in found
    assert "Never look at the sun" in found["caution"]


def test_a_film_plane_gets_entries_exits_minutes_and_a_drawing(api: APIClient) -> None:
    body = DAY | {"film_plane": TIN, "facing": "180 deg", "hole": {"diameter": "0.3 mm"}}
    body |= {"from": "2026-12-21T06:00:00Z", "to": "2026-12-21T18:00:00Z"}
    found = ask(api, "sun", body)
    on_film = found["on_film"]
    (passage,) = on_film["passages"]
    assert passage["enters"]["time"] < passage["leaves"]["time"]
    # The sun comes in from the east, left of a camera that faces south: its image is on the right.
    assert passage["enters"]["x"]["value"] > 0 > passage["leaves"]["x"]["value"]
    assert all(row["y"] is None or row["y"]["value"] < 0 for row in found["track"])
    minutes = np.array(on_film["map"]["minutes"])
    assert minutes.shape == (len(on_film["map"]["y"]), len(on_film["map"]["x"]))
    assert minutes.sum() == pytest.approx(on_film["time_on_film"]["value"] / 60, abs=1.5)
    # (0.533° + 0.172°) at 0.25° a minute, divided by cos 23.4° [derived]
    assert on_film["dwell"]["value"] / 60 == pytest.approx((0.5333 + np.degrees(0.3 / 100)) / 0.25 / 0.9175, rel=1e-3)
    drawing = ET.fromstring(on_film["svg"])  # noqa: S314  (our own)
    assert not any("style" in element.attrib for element in drawing.iter())


def test_the_track_on_a_tin_is_the_closed_form(api: APIClient) -> None:
    """s = 2RδA, Y = 2R cos δA tan h [SCIENCE §7, derived], upside down and turned left for right."""
    body = DAY | {"film_plane": TIN, "facing": "180 deg", "from": "2026-12-21T11:00:00Z", "to": "2026-12-21T13:00:00Z"}
    for row in ask(api, "sun", body)["track"]:
        off, height = np.radians(row["azimuth"]["value"] - 180), np.radians(row["altitude"]["value"])
        assert row["x"]["value"] == pytest.approx(-100 * off, abs=1e-3)
        assert row["y"]["value"] == pytest.approx(-100 * np.cos(off) * np.tan(height), abs=1e-3)


def test_the_sun_on_an_equinox_runs_straight_over_a_flat_back(api: APIClient) -> None:
    """Y = f/tan φ = 78.1286 mm at 52°, f = 100 mm, for a declination of nothing [SCIENCE §7, derived]."""
    flat = {"kind": "flat", "width": "400 mm", "height": "200 mm", "distance": "100 mm"}
    body = DAY | {"film_plane": flat, "facing": "180 deg", "from": "2026-03-20T10:00:00Z", "to": "2026-03-20T14:00:00Z"}
    heights = [row["y"]["value"] for row in ask(api, "sun", body)["track"]]
    # The sun crosses the equator at 14:46 UT that day: within 0.1° in these hours, 0.3 mm on the film.
    assert heights == pytest.approx([-78.1286] * len(heights), abs=0.35)


def test_a_polar_night_has_no_rise_and_says_so(api: APIClient) -> None:
    body = DAY | {"latitude": "80 deg", "from": "2026-12-21T06:00:00Z", "to": "2026-12-21T18:00:00Z"}
    found = ask(api, "sun", body)
    assert found["rise"] is None
    assert found["set"] is None
    assert "polar_night" in [flag["code"] for flag in found["flags"]]
    assert found["daylight"][0]["ev100"] is None


def test_a_whole_year_is_answered(api: APIClient) -> None:
    body = DAY | {"film_plane": TIN, "facing": "180 deg", "to": "2027-06-21T04:00:00+01:00"}
    found = ask(api, "sun", body)
    assert len(found["track"]) <= 202
    assert len(found["on_film"]["passages"]) > 100


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"from": "2026-06-21T04:00:00"}, "/from"),
        ({"from": "yesterday"}, "/from"),
        ({"to": "2026-06-20T04:00:00Z"}, "/to"),
        ({"to": "2028-06-20T04:00:00Z"}, "/to"),
        ({"latitude": "91 deg"}, "/latitude"),
        ({"latitude": 52}, "/latitude"),
        ({"facing": "180 deg"}, "/film_plane"),
        ({"film_plane": TIN}, "/facing"),
        ({"hole": {"diameter": "0.3 mm"}}, "/hole"),
        ({"step": "1 s"}, "/step"),
    ],
)
def test_what_is_wrong_is_pointed_at(api: APIClient, change: dict[str, Any], pointer: str) -> None:
    problem = ask(api, "sun", DAY | change, 400)
    assert [fault["pointer"] for fault in problem["errors"]] == [pointer]


def test_progress_is_the_core_s(api: APIClient) -> None:
    body = {
        "segments": [{"reading": {"ev": 12}, "lasted": "2 min"}, {"reading": {"ev": 11.95}, "lasted": "3 min"}],
        "reading": {"ev": 11.9},
        "f_number": 226,
        "exposure_index": 6,
        "reciprocity": {"law": "power", "exponent": 1.2},
    }
    found = ask(api, "exposure-progress", body)
    core = progress(
        [Segment(12, 120), Segment(11.95, 180)], ev100_now=11.9, f_number=226, exposure_index=6, law=PowerLaw(1.2)
    )
    assert found["share"] == pytest.approx(core.share)
    assert found["remaining_time"]["value"] == pytest.approx(core.remaining_s)
    assert found["remaining_to"]["value"] == pytest.approx(core.latest_s)
    assert found["remaining_from"]["value"] == pytest.approx(core.soonest_s)


def test_progress_needs_a_segment(api: APIClient) -> None:
    body = {"segments": [], "reading": {"ev": 11}, "f_number": 226, "exposure_index": 6}
    problem = ask(api, "exposure-progress", body, 400)
    assert problem["errors"][0]["pointer"] == "/segments"


def test_the_film_plane_meets_the_rays_the_sun_sends() -> None:
    plane = FilmPlane(profiles.drum(diameter_mm=100, length_mm=150), 80)
    s, y = plane.meet(np.array([0.2, 3.0]), np.array([0.1, 0.0]), np.array([1.0, 1.0]))
    assert s[0] == pytest.approx(100 * np.arctan(0.2))
    assert np.isnan(s[1])
    assert np.isfinite(y[0])
