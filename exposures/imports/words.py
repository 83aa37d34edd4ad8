"""What people call the fields of a sheet; programs go by their names, such as `result.judged_stops`."""

_WORDS = {
    "id": "Id of the entry",
    "paper": "Paper or film",
    "taken_at": "When it was exposed",
    "clock": "Time of day",
    "exposure_time": "Time given",
    "reading": "Light reading",
    "reading.ev": "Light reading: EV",
    "reading.iso": "Light reading: ISO of the meter",
    "reading.time": "Light reading: time on the meter",
    "reading.f_number": "Light reading: f-number on the meter",
    "reading.calibration_constant": "Light reading: the meter's constant C",
    "f_number": "f-number of the camera",
    "filter_stops": "Filter, in stops",
    "result": "How it came out",
    "result.judged_stops": "How it came out: stops over or under",
    "result.right_time": "How it came out: time that would have been right",
    "result.target": "How it came out: density aimed at",
    "result.gradient": "How it came out: density per log exposure",
    "process": "Development",
    "visibility": "Who may see it",
    "shared": "Shared with the pool",
    "name": "Name",
    "club_owned": "Owned by the club",
    "design": "Design it was built by",
    "spec": "What the camera is",
    "spec.film_plane": "Film plane",
    "spec.film_plane.kind": "Film plane: how the film lies",
    "spec.film_plane.distance": "Film plane: distance from the hole",
    "spec.film_plane.hole_offset": "Hole off the film's middle",
    "spec.film_plane.hole_offset.x": "Hole off the film's middle: sideways",
    "spec.film_plane.hole_offset.y": "Hole off the film's middle: upwards",
    "spec.hole": "Hole",
    "spec.hole.uncertainty": "Hole: uncertainty of its diameter",
    "spec.hole.scan": "Hole in a scan",
    "spec.focal_length": "Nominal focal length",
    "spec.reason": "Why this is so now",
    "nominal_exposure_index": "Nominal exposure index (ISO)",
    "size": "Size of a sheet",
    "batch": "Batch number",
    "member": "Who exposed it",
}


def in_words(name: str) -> str:
    """A field, or what several belong to, as a form labels it; one without words of its own by its name."""
    if name in _WORDS:
        return _WORDS[name]
    group, _, last = name.rpartition(".")
    plain = last.replace("_", " ")
    return f"{in_words(group)}: {plain}" if group else plain.capitalize()
