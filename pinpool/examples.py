"""A body for each call that people write by hand, as the document and its page show it. All of it is invented."""

from typing import Any

_TIN = {"kind": "drum", "diameter": "100 mm", "length": "150 mm", "height": "80 mm"}
_CADDY = {"kind": "flat", "width": "5 in", "height": "4 in", "distance": "61 mm"}
_PAPER = "b1f7a3de-6a2f-4f0e-9a55-2f4f0a6d9c11"

#: By operation id.
EXAMPLES: dict[str, Any] = {
    "optics_film_plane": {
        "film_plane": {"kind": "bowed", "width": "6 3/4 in", "depth": "45 mm", "length": "8 in", "height": "2½ in"},
    },
    "optics_hole_diameter": {"focal_length": "61 mm", "subject_distance": "2 m", "receptor": "graded_paper"},
    "optics_f_number": {"focal_length": "61 mm", "diameter": "0.24 mm", "diameter_uncertainty": "0.01 mm"},
    "optics_hole_measurement": {
        "readings": [
            {"holes_across": 3.5, "span": "1 mm", "direction": "across"},
            {"pixels": 58, "resolution": "4800 dpi", "direction": "down"},
        ],
        "focal_length": "68 mm",
    },
    "optics_illumination": {"film_plane": _TIN, "hole": {"diameter": "0.35 mm", "plate_thickness": "0.05 mm"}},
    "optics_sharpness": {
        "hole": {"diameter": "0.3 mm"}, "distance": "61 mm", "receptor": "graded_paper", "film_plane": _CADDY,
    },
    "optics_hole_comparison": {"film_planes": [_TIN, _CADDY], "diameters": ["0.25 mm", "0.3 mm", "0.35 mm"]},
    "optics_light": {"reading": {"time": "1/60 s", "f_number": 16, "iso": 100}},
    "optics_exposure": {
        "reading": {"ev": 12}, "f_number": 259, "exposure_index": 6,
        "reciprocity": {"law": "power", "exponent": 1.3, "from": "1 s"},
    },
    "optics_exposure_table": {"f_number": 259, "exposure_index": 6, "ev_from": 10, "ev_to": 16},
    "optics_exposure_progress": {
        "segments": [{"reading": {"ev": 12}, "lasted": "3 min 20 s"}], "reading": {"ev": 11},
        "f_number": 259, "exposure_index": 6,
    },
    "optics_sheet_cuts": {
        "sheet": "8x10 in", "piece": {"width": "150 mm", "height": "80 mm"}, "kerf": "0.5 mm", "grain": "any",
    },
    "optics_wall_opening": {"film_plane": _TIN, "hole": {"diameter": "0.35 mm"}, "wall_thickness": "0.3 mm"},
    "optics_camera_plan": {"film_plane": _TIN, "sheet": "8x10 in", "wall_thickness": "0.3 mm", "exposure_index": 6},
    "optics_sun": {
        "latitude": "52.1 deg", "longitude": "5.2 deg", "from": "2026-06-21T10:00:00+02:00",
        "to": "2026-06-21T14:00:00+02:00", "film_plane": _TIN, "facing": "180 deg",
    },
    "clubs_create": {"slug": "saltmarsh", "name": "Saltmarsh Pinhole Walkers"},
    "clubs_invitations_create": {"role": "member", "uses": 3, "days": 14, "note": "the autumn course"},
    "cameras_create": {
        "name": "Biscuit tin",
        "spec": {"film_plane": _TIN, "hole": {"readings": [{"holes_across": 14.25, "span": "5 mm"}]}},
    },
    "cameras_specs_create": {
        "film_plane": _TIN, "hole": {"diameter": "0.36 mm", "uncertainty": "0.01 mm"}, "reason": "measured again",
    },
    "cameras_sheets_create": {"kind": "camera_spec", "page": "a4", "wall_thickness": "0.3 mm"},
    "designs_create": {
        "name": "Biscuit drum", "film_plane": _TIN, "hole": {"diameter": "0.35 mm"}, "wall_thickness": "0.3 mm",
    },
    "papers_create": {"name": "Glasswort 2", "family": "graded paper", "nominal_exposure_index": 6, "size": "8x10 in"},
    "exposures_create": {
        "id": "3f2b7a52-0b7e-4c8e-9d0e-6a1f0d1c2b3a", "camera": "T1", "paper": _PAPER,
        "taken_at": "2026-05-01T12:00:00+01:00", "reading": {"ev": 12}, "exposure_time": "24 min",
        "result": {"judged_stops": 0.5}, "note": "cloud at the end",
    },
    "recommendation": {"camera": "T1", "paper": _PAPER, "reading": {"illuminance": "32000 lx"}},
    "workshops_create": {
        "name": "Tins by the sea", "held_on": "2026-06-20", "design": 1, "paper": _PAPER, "places": 12,
    },
}  # fmt: skip
