"""`pinpool.testing`: what comes with the service passes, and each unsound plug-in is told what to change."""

import subprocess
import sys
from dataclasses import replace
from itertools import count
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from optics.builtin import plugin as optics
from optics.core.faults import Flag, Impossible
from optics.core.holes import Receptor
from optics.core.profiles import Profile, flat, half_drum
from pinpool.plugins import health, registry
from pinpool.plugins.model import Parameter, Plugin
from pinpool.testing import assert_sound, faults_of
from tests.bodies import FILM_PLANES, LAWS, READINGS
from tests.guests import contribution, curve, film, law, plugin, raising, receptor, rule

CALLS = count(1)
SIZE = {"size": "90 mm", "height": "60 mm"}


def told_by_x(function: Any) -> Plugin:
    """A light reading of one number."""
    parameters = (Parameter("x", "number", "how much"),)
    return plugin(light_readings=(contribution(function=lambda *, x: function(x), parameters=parameters),))


def bodies_of_ours() -> dict[str, list[dict[str, Any]]]:
    given = {**FILM_PLANES, **READINGS, **LAWS}
    found = {name: [{k: v for k, v in body.items() if k not in {"kind", "law"}}] for name, body in given.items()}
    pressed = {"width": "171 mm", "depth": "60 mm", "length": "203 mm", "height": "80 mm", "hole_offset": {"x": "2 cm"}}
    found["bowed"].append(pressed)
    box = {
        "height": "60 mm",
        "points": [["-80 mm", "9 mm"], ["-80 mm", "60 mm"], ["80 mm", "60 mm"], ["80 mm", "9 mm"]],
    }
    found["profile"].append(box)
    return found


def test_our_own_are_sound() -> None:
    assert_sound(optics, bodies_of_ours())


def test_what_is_tried_leaves_no_trace() -> None:
    before = registry.entries()
    assert faults_of(rule(raising), {})
    assert registry.entries() == before
    assert not [name for _, name in health._records if name == "guest_plugin"]


def test_it_is_told_as_an_assertion() -> None:
    """With what was raised and the author's own line, and nothing that only the service's callers need."""
    with pytest.raises(AssertionError, match="hole_rules “third” raised ZeroDivisionError: secret") as told:
        assert_sound(rule(raising), {})
    line = raising.__code__.co_firstlineno + 1
    assert str(told.value).endswith(f"({raising.__code__.co_filename}:{line}).")
    assert "rest of the service" not in str(told.value)


def test_the_line_told_is_the_authors_not_the_librarys() -> None:
    def solving(**_: Any) -> float:
        return float(np.linalg.solve(np.zeros((2, 2)), np.ones(2))[0])

    [fault] = faults_of(rule(solving), {})
    assert f"Singular matrix ({solving.__code__.co_filename}:" in fault


def test_it_runs_without_settings_or_database(tmp_path: Any) -> None:
    """As in an author's own tests: no Django around it."""
    script = tmp_path / "sound.py"
    script.write_text(
        "from pinpool.plugins.model import Contribution, Plugin\n"
        "from pinpool.testing import assert_sound\n"
        "def section(*, camera, actor):\n"
        "    return {'title': camera.name, 'blocks': [{'kind': 'text', 'text': f'f/{camera.f_number:.0f}'}]}\n"
        "note = Contribution('note', 'a note', 'invented', section)\n"
        "def tenth(*, focal_length_mm, **_):\n"
        "    return focal_length_mm**0.5 / 10\n"
        "rule = Contribution('tenth', 'a tenth of the root', 'invented', tenth)\n"
        "assert_sound(Plugin('saltmarsh', '1', (1, 0), sheet_sections=(note,), hole_rules=(rule,)), {})\n"
        "print('sound')\n"
    )
    ran = subprocess.run([sys.executable, script], capture_output=True, text=True, check=False, env={}, cwd=tmp_path)
    assert (ran.stdout, ran.stderr) == ("sound\n", "")
    assert list(tmp_path.iterdir()) == [script]


# ------------------------------------------------------------------------------------------------------- whole


@pytest.mark.parametrize(
    ("made", "told"),
    [
        (7, "is a int, not a Plugin"),
        (plugin(api_version=(9, 0)), "written for plug-in API 9.0"),
        (plugin(film_planes=(contribution("flat"),)), "film_planes: the name “flat” is already taken"),
        (plugin(name="optics"), "plug-ins: the name “optics” is already taken"),
        (plugin(hole_rules=5), "hole_rules is a int, not a tuple"),
        (plugin(name=None), "cannot be read"),
    ],
    ids=["not a plug-in", "newer", "taken", "taken itself", "wrong type", "no name"],
)  # fmt: skip
def test_what_does_not_load(made: Any, told: str) -> None:
    [fault] = faults_of(made, {})
    assert told in fault


def test_all_faults_at_once() -> None:
    made = plugin(name="No", hole_rules=(contribution("Bad", 3), replace(contribution(), source="")))  # type: ignore[arg-type]
    assert len(faults_of(made, {})) == 4


def test_examples_are_owed_and_named_rightly() -> None:
    found = faults_of(film(raising), {"fourth": [{}]})
    assert found == [
        "examples: “fourth” is none of its contributions: third.",
        "film_planes “third”: give examples of its parameters, as a caller of the API writes them.",
    ]


def test_a_name_of_two_points_is_told_apart() -> None:
    made = plugin(
        film_planes=film(lambda *, size_mm, **more: flat(width_mm=size_mm, distance_mm=60.0, **more)).film_planes,
        light_readings=told_by_x(lambda x: x).light_readings,
    )
    assert faults_of(made, {"film_planes.third": [SIZE], "light_readings.third": [{"x": 3}]}) == []


def test_examples_are_read_as_the_api_reads_them() -> None:
    [fault] = faults_of(film(raising), {"third": [{"size": "9,5 mm", "height": "60 mm"}]})
    assert fault.startswith("film_planes “third”: with {'size': '9,5 mm', 'height': '60 mm'} /size: ")


def test_one_that_refuses_its_example() -> None:
    def refusing(**_: Any) -> Any:
        raise Impossible("too_odd", "Make it less odd.", "size")

    [fault] = faults_of(film(refusing), {"third": [SIZE]})
    assert fault.endswith("/size: Make it less odd.")


def test_one_that_changes_what_is_ours() -> None:
    def meddling(**_: Any) -> float:
        object.__setattr__(optics.film_planes[0], "label", "theirs")
        return 0.3

    found = faults_of(rule(meddling), {})
    assert "changed what others contribute" in found[0]
    assert optics.film_planes[0].label == "flat sheet"


# ------------------------------------------------------------------------------------------------- film planes


def bent(s: Any, *, length: float = 1.0, normal: float = 1.0, turn: float = 0.0) -> Any:
    """A half drum of 60 mm whose own length or whose normals are off."""
    x, z, nx, nz = half_drum(radius_mm=60.0, length_mm=90.0).at(s * length)
    cos, sin = normal * np.cos(turn), normal * np.sin(turn)
    return x, z, cos * nx - sin * nz, sin * nx + cos * nz


def of_the_whole(s: Any) -> Any:
    x, z, nx, nz = flat(width_mm=90.0, distance_mm=60.0).at(s)
    return x - (x.mean() if len(x) > 30 else 0.0), z + len(x) / 1000, nx, nz


def right_to_left(s: Any) -> Any:
    x, z, nx, nz = half_drum(radius_mm=60.0, length_mm=90.0).at(s)
    return -x, z, -nx, nz


UNSOUND_CURVES: dict[str, tuple[Any, str]] = {
    "its length": (lambda s: bent(s, length=1.02), "its curve runs 1.02 mm for each mm of s"),
    "normals too long": (lambda s: bent(s, normal=1.1), "its normals are up to 0.1 longer or shorter than 1"),
    "normals turned": (lambda s: bent(s, turn=0.02), "its normals are not square to its curve"),
    "by the whole": (of_the_whole, "its curve at one s depends on what else is asked for"),
    "right to left": (right_to_left, "runs from right to left"),
    "away from the hole": (lambda s: bent(s, turn=np.pi), "turns its back to the hole"),
    "not a number": (lambda s: (s * np.nan,) * 4, "four finite arrays"),
    "one number": (lambda _: (0.0, 60.0, 0.0, -1.0), "four finite arrays shaped like s"),
}


@pytest.mark.parametrize("name", UNSOUND_CURVES)
def test_an_unsound_curve(name: str) -> None:
    at, told = UNSOUND_CURVES[name]
    found = faults_of(curve(at), {"third": [SIZE]})
    assert any(told in fault for fault in found), found
    assert all(fault.startswith(("film_planes “third”: with", "Plug-in guest_plugin: film_planes")) for fault in found)


def test_a_film_with_a_gap_loses_light() -> None:
    """Length and normals are right everywhere, but a piece between two breaks lies elsewhere."""

    def gapped(s: Any) -> Any:
        return s + np.where(s > 0, 9.0, 0.0), 60.0 + 0 * s, 0 * s, -1 + 0 * s

    found = faults_of(curve(gapped, breaks_mm=(0.0,)), {"third": [SIZE]})
    assert any("of the light between its ends" in fault for fault in found), found


def test_a_film_that_knows_of_no_offset() -> None:
    [fault] = faults_of(curve(flat(width_mm=90.0, distance_mm=60.0).at), {"third": [SIZE]})
    assert "hole_offset_x_mm changes nothing" in fault


def test_a_shape_like_a_profile_is_one() -> None:
    def alike(*, size_mm: float, hole_offset_x_mm: float) -> Any:
        made = flat(width_mm=size_mm, distance_mm=60.0, hole_offset_x_mm=hole_offset_x_mm)
        return SimpleNamespace(length_mm=np.float32(size_mm), at=made.at, breaks_mm=[], shape="flat")

    assert not isinstance(alike(size_mm=90.0, hole_offset_x_mm=0.0), Profile)
    assert_sound(film(alike), {"third": [SIZE]})


# ------------------------------------------------------------------------------------------ laws, rules, light


def correcting(correct: Any, *codes: str) -> Plugin:
    return law(lambda: SimpleNamespace(correct=correct, flags=tuple(Flag(code, "It does.") for code in codes)))


def refusing_long(time: Any) -> Any:
    if np.max(time) > 100:
        raise Impossible("too_long", "Nobody measured that.")
    return time


UNSOUND_LAWS: dict[str, tuple[Plugin, str]] = {
    "falling": (correcting(lambda t: 1e6 + 9e9 / (1 + t)), "it must rise all along"),
    "level": (correcting(lambda t: np.maximum(t, 10.0)), "it must rise all along"),
    "shorter": (correcting(lambda t: t * 0.5), "asks for less than the indicated time"),
    "of the whole": (correcting(lambda t: t * 2 + np.size(t)), "one time for a number and another in an array"),
    "by the call": (correcting(lambda t: t * (1 + next(CALLS))), "one time for a number and another"),
    "refusing": (correcting(refusing_long), "it refuses some time between 1 ms and 28 hours (Nobody measured that.)"),
    "scalar": (correcting(lambda _: 9.0), "indicated time: an array comes back in its shape."),
    "negative": (correcting(lambda t: -t), "is not a time for each"),
    "text": (correcting(lambda _: "9 s"), "raised TypeError"),
}


def starting_at(onset: Any) -> Any:
    """No failure up to `onset`, then suddenly much."""
    return lambda t: t + np.sqrt(np.maximum(t - onset, 0))


def test_a_law_that_no_paper_can_keep() -> None:
    """Sound by itself, but the rows that a paper keeps of it are not."""
    [fault] = faults_of(correcting(starting_at(2)), {})
    assert fault.startswith("reciprocity_laws “third”: with {} no paper can keep it: Just past 2 s this law rises")


@pytest.mark.parametrize("name", UNSOUND_LAWS)
def test_an_unsound_law(name: str) -> None:
    made, told = UNSOUND_LAWS[name]
    found = faults_of(made, {})
    assert any(told in fault for fault in found), found
    assert all("reciprocity_laws “third”" in fault for fault in found)


def test_a_law_may_say_that_it_shortens() -> None:
    assert faults_of(correcting(lambda t: t * 0.5, "shortens"), {}) == []


UNSOUND: dict[str, tuple[Plugin, dict[str, Any], str]] = {
    "a rule that shrinks": (rule(lambda *, focal_length_mm, **_: 9 / focal_length_mm), {}, "does not grow with"),
    "a rule in metres": (rule(lambda *, focal_length_mm, **_: focal_length_mm * 2), {}, "wider than its distance"),
    "a rule that is NaN": (rule(lambda **_: np.nan), {}, "did not return a diameter"),
    "a receptor outside its band": (receptor(lambda: Receptor("third", "x", 700.0, (400.0, 500.0), "y")), {},
                                    "with a wavelength inside its band"),
    "a receptor in micrometres": (receptor(lambda: Receptor("third", "x", 0.5, (0.4, 0.6), "y")), {},
                                  "give wavelengths in nm"),
    "an endless EV": (told_by_x(lambda x: x / 0.0), {"third": [{"x": 1}]}, "raised ZeroDivisionError"),
    "an EV beyond any": (told_by_x(lambda x: x + 90), {"third": [{"x": 1}]}, "beyond any light on earth"),
    "an EV by the call": (told_by_x(lambda x: x + next(CALLS)), {"third": [{"x": 1}]}, "gives another EV each"),
    "a reading of two kinds": (told_by_x(float), {"third": [{"x": 1, "ev": 3}]}, "it is taken for ['ev', 'third']"),
}  # fmt: skip


@pytest.mark.parametrize("name", UNSOUND)
def test_an_unsound_one(name: str) -> None:
    made, examples, told = UNSOUND[name]
    found = faults_of(made, examples)
    assert any(told in fault for fault in found), found


# ------------------------------------------------------------------------------------------------------ sheets


def section(function: Any, *parameters: Parameter) -> Plugin:
    return plugin(sheet_sections=(contribution(function=function, parameters=parameters),))


def refusing_drums(*, camera: Any, **_: Any) -> Any:
    if camera.film_plane.kind == "drum":
        raise Impossible("round", "Only flat cameras.")
    return {"title": camera.name, "blocks": []}


UNSOUND_SECTIONS: dict[str, tuple[Any, str]] = {
    "no section": (lambda **_: "a title", "this must be an object with title, blocks"),
    "an unknown block": (lambda **_: {"title": "x", "blocks": [{"kind": "poem"}]}, "a block has a kind"),
    "a refusal": (refusing_drums, "for a drum camera on a4 it refuses its own example: Only flat cameras."),
    "a fault": (raising, "raised ZeroDivisionError"),
}


@pytest.mark.parametrize("name", UNSOUND_SECTIONS)
def test_an_unsound_section(name: str) -> None:
    function, told = UNSOUND_SECTIONS[name]
    found = faults_of(section(function), {})
    assert any(told in fault for fault in found), found


def test_a_section_with_parameters() -> None:
    def shelf(*, camera: Any, actor: Any, width_mm: float) -> Any:
        assert not actor.is_authenticated
        return {"title": camera.code, "blocks": [{"kind": "text", "text": f"{width_mm:g} mm"}]}

    width = Parameter("width", "length", "of the shelf", minimum=1.0)
    assert_sound(section(shelf, width), {"third": [{"width": "3 in"}]})
    [fault] = faults_of(section(shelf, width), {"third": [{"width": "0.1 mm"}]})
    assert "/width: " in fault
