"""A good body for every endpoint that takes one, and every film plane, reading and law of our own."""

from io import BytesIO
from typing import Any

from PIL import Image

from exposures.reciprocity.cells import Cells
from exposures.reciprocity.packets import make_packet


def picture(kind: str = "JPEG") -> bytes:
    """A dark red picture."""
    out = BytesIO()
    Image.new("RGB", (60, 40), "darkred").save(out, kind)
    return out.getvalue()


FILM_PLANES: dict[str, dict[str, Any]] = {
    "flat": {"kind": "flat", "width": "4 in", "height": "5 in", "distance": "61 mm"},
    "bowed": {"kind": "bowed", "width": "100 mm", "depth": "60 mm", "length": "125 mm", "height": "80 mm"},
    "drum": {"kind": "drum", "diameter": "100 mm", "length": "150 mm", "height": "80 mm"},
    "half_drum": {"kind": "half_drum", "radius": "70 mm", "length": "180 mm", "height": "5 3/8 in"},
    "profile": {
        "kind": "profile",
        "height": "60 mm",
        "points": [["-40 mm", "30 mm"], ["-20 mm", "52 mm"], ["0 mm", "60 mm"], ["20 mm", "52 mm"], ["40 mm", "30 mm"]],
    },
}
HOLE = {"diameter": "0.30 mm", "uncertainty": "0.01 mm", "plate_thickness": "0.1 mm"}
READINGS: dict[str, dict[str, Any]] = {
    "ev": {"ev": 12, "iso": 200},
    "time": {"time": "1/60 s", "f_number": 16, "iso": 100},
    "illuminance": {"illuminance": "32000 lx", "calibration_constant": 320},
    "luminance": {"luminance": "4000 cd/m^2", "calibration_constant": 14},
}
LAWS: dict[str, dict[str, Any]] = {
    "none": {"law": "none"},
    "power": {"law": "power", "exponent": 1.3, "from": "1 s"},
    "table": {"law": "table", "rows": [["1 s", "1 s"], ["10 s", "20 s"], ["50 s", "3 min"]]},
}

#: Below /api/v1/optics/.
OPTICS: dict[str, dict[str, Any]] = {
    "film-plane/": {"film_plane": FILM_PLANES["drum"] | {"hole_offset": {"x": "-5 mm", "y": "3 mm"}}},
    "hole-diameter/": {
        "focal_length": "100 mm", "subject_distance": "2 m", "receptor": "pan_film", "rule": "young_1971",
    },
    "f-number/": {"focal_length": "61 mm", "diameter": "0.24 mm", "diameter_uncertainty": "0.01 mm"},
    "hole-measurement/": {
        "readings": [
            {"holes_across": 4.25, "span": "1 mm", "holes_across_uncertainty": 0.2, "direction": "across"},
            {"pixels": 64, "resolution": "4800 dpi", "direction": "down"},
            {"diameter": "0.24 mm", "uncertainty": "0.01 mm", "direction": "down"},
        ],
        "focal_length": "61 mm",
    },
    "illumination/": {
        "film_plane": FILM_PLANES["flat"], "hole": HOLE, "columns": 5, "rows": 3, "used_share": 0.9,
    },
    "light/": {"reading": READINGS["time"]},
    "exposure/": {
        "reading": READINGS["ev"], "f_number": 250, "exposure_index": 6, "filter_stops": 1, "correction_stops": -0.5,
        "reciprocity": LAWS["power"],
    },
    "exposure-table/": {
        "f_number": 250, "exposure_index": 6, "reciprocity": LAWS["table"], "ev_from": 8, "ev_to": 16, "step": 2,
    },
    "exposure-progress/": {
        "segments": [{"reading": READINGS["ev"], "lasted": "3 min 20 s"}], "reading": READINGS["illuminance"],
        "f_number": 250, "exposure_index": 6, "filter_stops": 1, "reciprocity": LAWS["power"],
    },
    "sharpness/": {
        "hole": HOLE, "distance": "61 mm", "wavelengths": ["450 nm", "550 nm"], "subject_distance": "2 m",
        "film_plane": FILM_PLANES["flat"],
    },
    "hole-comparison/": {
        "film_planes": [FILM_PLANES["flat"], FILM_PLANES["drum"]], "diameters": ["0.3 mm", "0.4 mm"],
        "receptor": "graded_paper",
    },
    "sheet-cuts/": {
        "sheet": {"width": "8 in", "height": "10 in"}, "piece": {"width": "100 mm", "height": "60 mm"}, "kerf": "0 mm",
        "grain": "any",
    },
    "wall-opening/": {
        "film_plane": FILM_PLANES["drum"], "hole": HOLE, "wall_thickness": "3 mm", "margin": "0.5 mm",
        "plate_side": "inside", "opening": {"width": "12 mm", "height": "8 mm"}, "used_share": 0.9,
    },
    "camera-plan/": {
        "film_plane": FILM_PLANES["flat"], "hole": HOLE, "rule": "rayleigh_1891", "receptor": "500 nm",
        "sheet": "8x10 in", "wall_thickness": "3 mm", "plate_side": "outside", "exposure_index": 6,
        "reciprocity": LAWS["none"], "used_share": 0.9,
    },
    "sun/": {
        "latitude": "52 deg", "longitude": "5°", "from": "2026-06-21T10:00:00Z", "to": "2026-06-21T14:00:00+02:00",
        "step": "30 min", "film_plane": FILM_PLANES["flat"], "facing": "180 deg", "tilt": "10 deg", "hole": HOLE,
    },
}  # fmt: skip

#: The same, for those that take a form with a file; the file goes in by the test.
FORMS: dict[str, dict[str, str]] = {
    "hole-scan/": {"resolution": "4800 dpi", "polarity": "auto", "tone_curve": "srgb", "focal_length": "61 mm"},
    "cameras/<slug:code>/photos/": {"caption": "from above"},
    "imports/": {"kind": "cameras", "encoding": "utf-8", "delimiter": "comma"},
}

#: Below /api/v1/clubs/{club}/; a paper's id goes in by the test.
SPEC = {"film_plane": FILM_PLANES["drum"], "hole": HOLE, "focal_length": "98 mm", "reason": "measured again"}
CLUB: dict[str, dict[str, Any]] = {
    "members/": {"username": "walker", "role": "guest"},
    "invitations/": {"role": "member", "note": "for the workshop", "uses": 12, "days": 14},
    "cameras/": {"code": "K7", "name": "Biscuit tin", "club_owned": True, "note": "lid sticks", "spec": SPEC},
    "designs/": {
        "name": "Drum, the small one", "note": "invented", "film_plane": FILM_PLANES["drum"],
        "hole": {"diameter": "0.35 mm", "plate_thickness": "0.05 mm"}, "wall_thickness": "2 mm",
        "focal_length": "98 mm",
    },
    "papers/": {"name": "Kelp matt", "family": "graded paper", "nominal_exposure_index": 6, "note": "invented"},
    "exposures/": {
        "id": "3f2b7a52-0b7e-4c8e-9d0e-6a1f0d1c2b3a", "camera": "T1", "paper": "", "taken_at": "2026-05-01T12:00:00Z",
        "reading": READINGS["ev"], "filter_stops": 1, "exposure_time": "3 min 20 s", "result": {"judged_stops": -0.5},
        "process": {
            "developer": "Bladderwrack", "dilution": "1+9", "temperature": "68 °F", "time": "2 min",
            "agitation": "every 30 s", "volume": "0.5 l", "method": "tray", "note": "invented",
        },
        "note": "cloud at the end", "place": {"latitude": "52.1 deg", "longitude": "5.2°"}, "visibility": "shared",
    },
    "recommendation/": {"camera": "T1", "paper": "", "reading": READINGS["ev"], "filter_stops": 0.5},
    "paper-merges/": {"key": "cord grass|graded paper", "into_key": "cordgrass|graded paper"},
    "imports/<uuid:id>/apply/": {"rows": "good"},
    "imports/<uuid:id>/undo/": {},
    "workshops/": {
        "name": "Saltmarsh day", "held_on": "2026-06-20", "design": 1, "paper": "", "places": 3,
        "process": {"developer": "Bladderwrack", "dilution": "1+9", "temperature": "20 °C", "time": "2 min"},
        "stations": 2, "note": "bring a lid",
    },
    "workshops/<int:number>/closing/": {},
    "workshops/<int:number>/places/<int:place>/code/": {},
    "workshops/<int:number>/sheets/": {
        "kind": "workshop_pack", "page": "letter", "camera_spec": "each", "negatives_per_place": 3, "spares": 2,
        "sheet": "8x10 in", "starts": "09:30", "ev100": 12.5, "building": "45 min", "capacity": 0.8, "together": 2,
    },
}  # fmt: skip

#: Below /api/v1/accounts/. The password is a keeper's in the tests that send these.
KEEPERS_PASSWORD = "salt marsh at low tide"  # noqa: S105  (invented)
ACCOUNTS: dict[str, dict[str, Any]] = {
    "login/": {"username": "keeper", "password": KEEPERS_PASSWORD},
    "logout/": {},
    "me/": {"email": "keeper@creek.example", "password": KEEPERS_PASSWORD},
    "me/deletion/": {"password": KEEPERS_PASSWORD},
    "password/": {"password": KEEPERS_PASSWORD, "new_password": "tea caddy, biscuit drum"},
    "password-reset/": {"email": "keeper@creek.example"},
    "password-reset/confirm/": {"code": "MQ.1-0", "new_password": "tea caddy, biscuit drum"},
    "tokens/": {"name": "phone", "scope": "log", "days": 90},
}

#: Below /api/v1/places/{claim_code}/; what is measured, noted and said at a place.
PLACES: dict[str, dict[str, Any]] = {
    "": {"name": "Finn"},
    "hole/": {"readings": [{"pixels": 70, "resolution": "4800 dpi"}, {"diameter": "0.36 mm", "uncertainty": "0.02 mm"}],
              "plate_thickness": "0.1 mm"},
    "exposures/": {
        "id": "5c0c8a52-0b7e-4c8e-9d0e-6a1f0d1c2b3a", "taken_at": "2026-06-20T12:00:00+02:00",
        "reading": READINGS["ev"], "filter_stops": 0.5, "exposure_time": "3 min 20 s",
        "result": {"judged_stops": -0.5}, "note": "cloud at the end",
    },
    "exposures/<uuid:id>/": {"result": {"right_time": "4 min"}, "note": "thin"},
    "claim/": {},
}  # fmt: skip

#: A sheet of cameras, and how one of its columns is written.
SHEET = b'Code,Name,Shape,Diameter,Length,Height,Hole\r\nK9,Biscuit drum,drum,100 mm,150 mm,80 mm,"0,35"\r\n'
MAPPING = {"columns": [{"column": "Hole", "field": "spec.hole.diameter", "format": {"decimal": ",", "unit": "mm"}}]}

#: The smallest of pictures.
PICTURE = picture()

#: Those that are not posted, or are no form that a person fills in.
POOL = {"joined": True}
EMBED = {"origins": ["https://walkers.example", "http://localhost:8080"], "registry": True, "cameras": ["T1"]}
CAMERA_CHANGE = {"name": "Biscuit drum", "note": "new lid", "owner": None, "retired": False}
DESIGN_CHANGE = {"name": "Drum, the tall one", "note": "new lid", "retired": False}
LOAN = {"to": "walker", "until": "2099-12-31"}
PAPER_CHANGE = {"size": "8x10 in", "batch": "B 7", "expires_on": "2031-05-31", "sheets_left": 12, "retired": False}
WORKSHOP_CHANGE = {"name": "Saltmarsh evening", "stations": 3, "places": 4, "process": None}
CORRECTION: dict[str, Any] = CLUB["exposures/"] | {
    "id": "7d0c8a52-0b7e-4c8e-9d0e-6a1f0d1c2b3a", "reason": "It was 4 min.",
}  # fmt: skip
PACKET = make_packet(
    Cells.from_rows([("cordgrass|graded paper", "camera", "member", "judged", 4, 4, 24, 146, 36, 218, 326, 5, 7)]),
    source="8f0c8a52-4b7e-4c8e-9d0e-6a1f0d1c2b3a",
    revision=1,
    secret=b"the invented secret of a test",
    papers={"cordgrass|graded paper": 6.0},
)
#: By route, where it is no form or names a thing.
OTHERS: dict[str, Any] = {
    "packets/": PACKET,
    "exposures/bulk/": [CLUB["exposures/"]],
    "exposures/<uuid:id>/corrections/": CORRECTION,
    "cameras/<slug:code>/sheets/": {"kind": "camera_spec", "page": "a4", "wall_thickness": "2 mm", "sheet": "8x10 in"},
    "designs/<int:number>/sheets/": {"kind": "camera_spec", "page": "letter", "sheet": "8x10 in"},
}
