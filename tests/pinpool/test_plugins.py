"""Plug-ins: each fault is named by a sentence, each failing call by a problem, and nothing else is hurt."""

import sys
from dataclasses import replace
from importlib.metadata import EntryPoint, EntryPoints
from io import StringIO
from itertools import count
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from django.core.management import call_command
from rest_framework.test import APIClient

from optics import contributed
from optics.core.faults import Flag, Impossible
from optics.core.holes import Receptor
from optics.core.profiles import Profile, flat
from pinpool.apps import check_plugins
from pinpool.http.problems import PluginFailed
from pinpool.plugins import loading, registry
from pinpool.plugins.loading import find, load_all
from pinpool.plugins.model import Parameter, Plugin
from pinpool.plugins.validation import faults_of
from tests.bodies import FILM_PLANES, OPTICS
from tests.guests import (
    API,
    ASK,
    Fake,
    contribution,
    correction,
    curve,
    film,
    law,
    plugin,
    raising,
    reading,
    receptor,
    rule,
    shown,
)  # fmt: skip
from tests.problems import faults_in, problem_of

# ----------------------------------------------------------------------------------------------- find and load


def test_our_own_come_by_the_same_door() -> None:
    assert {entry.name for entry in find()} >= {"optics", "exposures"}
    assert all(isinstance(entry, EntryPoint) for entry in find())
    assert {entry.state for entry in registry.entries() if entry.package == "pinpool"} == {"active"}


def test_what_the_list_shows(api: APIClient) -> None:
    row = shown(api, "optics")
    told = {"name", "version", "package", "state", "reason", "contributes", "failures", "last_failure"}
    assert row.keys() == told
    assert api.get("/api/v1/plugins/").json()["api_version"] == "1.0"
    assert (row["state"], row["package"]) == ("active", "pinpool")
    assert row["contributes"]["film_planes"] == list(FILM_PLANES)
    contributed = {"reciprocity_laws": ["paper"], "sheet_sections": ["exposure_card"]}
    assert shown(api, "exposures")["contributes"] == contributed


FAULTS: dict[str, tuple[Any, str, str]] = {
    "missing import": (ModuleNotFoundError("No module named 'guest'"), "failed", "No module named 'guest'"),
    "broken import": (ZeroDivisionError("in its module"), "failed", "ZeroDivisionError('in its module')"),
    "exits on import": (SystemExit(3), "failed", "SystemExit(3)"),
    "not a plug-in": ({"name": "guest"}, "invalid", "is a dict, not a Plugin"),
    "newer major": (plugin(api_version=(2, 0)), "incompatible", "written for plug-in API 2.0; this service offers 1.0"),
    "newer minor": (plugin(api_version=(1, 7)), "incompatible", "written for plug-in API 1.7; this service offers 1.0"),
    "version as text": (plugin(api_version="1.0"), "invalid", "two numbers, such as (1, 0)"),
    "version of texts": (plugin(api_version=("1", "0")), "invalid", "two numbers, such as (1, 0)"),
    "version of one": (plugin(api_version=(1,)), "invalid", "two numbers, such as (1, 0)"),
    "no version": (plugin(api_version=None), "invalid", "two numbers, such as (1, 0)"),
    "bad own name": (plugin(name="Guest Plugin"), "invalid", "its own name"),
    "no own name": (plugin(name=None), "invalid", "cannot be read"),
    "bad name": (plugin(hole_rules=(contribution("My rule!"),)), "invalid", "hole_rules “My rule!”: a name is a–z"),
    "name no text": (plugin(hole_rules=(contribution(5),)), "invalid", "cannot be read"),  # type: ignore[arg-type]
    "duplicate name": (plugin(film_planes=(contribution("flat"),)), "invalid",
                       "film_planes: the name “flat” is already taken by pinpool, optics"),
    "duplicate in itself": (plugin(hole_rules=(contribution(), contribution())), "invalid", "already taken by itself"),
    "duplicate plug-in": (plugin(name="optics"), "invalid", "plug-ins: the name “optics” is already taken by pinpool"),
    "not a contribution": (plugin(hole_rules=("rule",)), "invalid", "hole_rules holds a str, not a Contribution"),
    "not a tuple": (plugin(hole_rules=[contribution()]), "invalid", "hole_rules is a list, not a tuple"),
    "not a function": (plugin(hole_rules=(contribution(function=3),)), "invalid", "cannot be called"),  # type: ignore[arg-type]
    "no source": (plugin(hole_rules=(replace(contribution(), source=" "),)), "invalid", "it names no source."),
    "no label": (plugin(hole_rules=(replace(contribution(), label=""),)), "invalid", "it names no label."),
    "not parameters": (plugin(hole_rules=(contribution(parameters=("x",)),)), "invalid", "not all Parameter"),
    "parameters in a list": (plugin(hole_rules=(contribution(parameters=[]),)), "invalid", "not a tuple of Parameter"),
    "a parameter twice": (plugin(hole_rules=(contribution(parameters=(Parameter("x", "number", ""),) * 2),)), "invalid",
                          "there are two parameters “x”"),
    "a limit of text": (plugin(hole_rules=(contribution(parameters=(Parameter("x", "number", "", minimum="0"),)),)),  # type: ignore[arg-type]
                        "invalid", "the limits of “x” are not a least and a greatest number"),
    "limits crossed": (plugin(hole_rules=(contribution(parameters=(Parameter("x", "number", "", 2.0, 1.0),)),)),
                       "invalid", "the limits of “x” are not a least and a greatest number"),
    "no description": (plugin(hole_rules=(contribution(parameters=(Parameter("x", "number", None),)),)),  # type: ignore[arg-type]
                       "invalid", "the description of “x” is no text"),
    "default of text": (plugin(hole_rules=(contribution(parameters=(Parameter("x", "time", "", default="1 s"),)),)),
                        "invalid", "the default of “x” must be a number of s, its canonical unit, such as 2.0."),
    "default of pairs": (plugin(hole_rules=(contribution(parameters=(Parameter("x", "rows", "", default=[[1.0]]),)),)),
                         "invalid", "the default of “x” must be a list of pairs of numbers of s, its canonical unit"),
    "reading without keys": (plugin(light_readings=(contribution(),)), "invalid", "it needs a required parameter"),
    "reading by our keys": (plugin(light_readings=(contribution(parameters=(Parameter("iso", "number", ""),)),)),
                            "invalid", "light_readings “third”: its keys cannot be told from those of “ev”"),
    "unknown kind": (plugin(light_readings=(contribution(parameters=(Parameter("x", "mass", ""),)),)), "invalid",
                     "“mass” is no kind of parameter; there are length"),
    "taken parameter": (plugin(film_planes=(contribution(parameters=(Parameter("height", "length", ""),)),)), "invalid",
                        "a parameter cannot be called “height”"),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_each_fault_has_its_sentence(db: None, install: Any, api: APIClient, name: str) -> None:
    """In the list, in `manage.py check`, and with the package to blame; everything else goes on."""
    made, state, sentence = FAULTS[name]
    entry = install(made)
    assert (entry.state, entry.plugin) == (state, None)
    assert sentence in entry.reason
    assert "guest-package" in entry.reason
    rows = api.get("/api/v1/plugins/").json()["results"]
    assert (rows[-1]["state"], rows[-1]["reason"], rows[-1]["contributes"]) == (state, entry.reason, {})
    printed = StringIO()
    call_command("check", stderr=printed, stdout=printed)
    assert entry.reason in printed.getvalue()
    assert "pinpool.W001" in printed.getvalue()
    assert api.post(API + "camera-plan/", OPTICS["camera-plan/"]).status_code == 200


@pytest.mark.parametrize(
    ("kind", "default", "written"),
    [("time", 2.0, "2 s"), ("time", 1e7, "10000000 s"), ("angle", 22.5, "22.5 deg"), ("number", 1.5, 1.5),
     ("text", "soft", "soft"), ("rows", [[1.0, 2]], [["1 s", "2 s"]]), ("points", [[-0.5, 3]], [["-0.5 mm", "3 mm"]]),
     ("length", None, None)],
)  # fmt: skip
def test_a_default_as_a_caller_writes_it(kind: str, default: Any, written: Any) -> None:
    parameter = Parameter("x", kind, "", required=False, default=default)
    assert parameter.default_written == written
    made = plugin(hole_rules=(contribution(parameters=(parameter,)),))
    assert list(faults_of(made)) == []


@pytest.mark.parametrize(
    ("group", "warned"),
    [("pinpool.plugin", True), ("pinpol.plugins", True), ("pinpool", True), ("console_scripts", False),
     ("pinpool.plugins", False)],
)  # fmt: skip
def test_a_slip_in_the_groups_name_is_told(monkeypatch: pytest.MonkeyPatch, group: str, warned: bool) -> None:
    offered = EntryPoints([EntryPoint("guest", "guest.module:plugin", group)])
    monkeypatch.setattr(loading, "entry_points", offered.select)
    told = [(each.id, each.obj, group in each.msg) for each in check_plugins(None)]
    assert told == [("pinpool.W003", "guest.module:plugin", True)] * warned


def test_the_command_lists_what_the_api_lists(install: Any) -> None:
    install(plugin(hole_rules=(contribution(),)), Fake(plugin(name="late", api_version=(9, 0)), "late"))
    printed = StringIO()
    call_command("plugins", stdout=printed)
    *_, guest, rules, late = printed.getvalue().splitlines()
    assert guest == "guest_plugin 0.3, of the package guest-package: active. Loaded."
    assert rules == "    hole_rules: third"
    assert late.startswith("late 0.3, of the package guest-package: incompatible. guest-package: written for")


def test_a_faulty_one_does_not_take_the_names_it_wanted(install: Any) -> None:
    wanted = plugin(hole_rules=(contribution("third"), contribution("young_1971")))
    entry = install(wanted, Fake(plugin(name="late", hole_rules=(contribution("third"),)), "late"))
    assert entry.state == "active"


def test_an_entry_point_without_a_package_is_named_all_the_same() -> None:
    fake = Fake(ImportError("gone"))
    fake.dist = None  # type: ignore[assignment]
    [entry] = load_all([fake])  # type: ignore[list-item]
    assert entry.reason.startswith("unknown package: importing guest.module:plugin raised")


# ------------------------------------------------------------------------------------------------------- calls


def nan_at_one_point(s: Any) -> Any:
    """Finite at the few points a hasty check would look at."""
    one = np.ones_like(s)
    return s, 60 * one, np.where(np.abs(s - 1.234) < 0.2, np.nan, 0 * one), -one


BLIND = Receptor("third", "x", np.nan, (1.0, 2.0), "invented")
FAILURES: dict[str, tuple[str, Plugin, str]] = {
    "a film plane raises": ("film_planes", film(raising), "raised ZeroDivisionError"),
    "a film plane exits": ("film_planes", film(lambda **_: sys.exit(3)), "raised SystemExit"),
    "a film plane is none": ("film_planes", film(lambda **_: 7), "did not return a Profile with a length"),
    "a film plane has no length": ("film_planes", curve(length_mm=np.nan), "did not return a Profile with a length"),
    "a length is text": ("film_planes", curve(length_mm="9"), "did not return a Profile with a length"),
    "a break is text": ("film_planes", curve(breaks_mm=("a",)), "did not return a Profile with a length"),
    "a curve raises": ("film_planes", curve(raising), "raised ZeroDivisionError along its curve"),
    "a curve of three": ("film_planes", curve(lambda s: (s, s, s)), "raised ValueError along its curve"),
    "a curve of scalars": ("film_planes", curve(lambda _: (0, 60, 0, -1)), "four finite arrays shaped like s"),
    "a curve with NaN": ("film_planes", curve(nan_at_one_point), "four finite arrays shaped like s"),
    "a law raises": ("reciprocity_laws", law(raising), "raised ZeroDivisionError"),
    "a law is none": ("reciprocity_laws", law(lambda: 5), "did not return a law"),
    "a law's flags are none": ("reciprocity_laws", correction(abs, flags=5), "did not return a law"),
    "a correction raises": ("reciprocity_laws", correction(raising), "raised ZeroDivisionError"),
    "a correction is NaN": ("reciprocity_laws", correction(lambda t: t * np.nan), "is not a time for each"),
    "a correction is infinite": ("reciprocity_laws", correction(lambda t: t + np.inf), "is not a time for each"),
    "a correction is negative": ("reciprocity_laws", correction(lambda t: -t), "is not a time for each"),
    "a correction has no shape": ("reciprocity_laws", correction(lambda _: 3.0), "is not a time for each"),
    "a correction is text": ("reciprocity_laws", correction(lambda _: "4 s"), "raised TypeError"),
    "a correction is complex": ("reciprocity_laws", correction(lambda t: t + 1j), "raised TypeError"),
    "a flag says nothing": ("reciprocity_laws", correction(abs, flags=(Flag("odd", None),)), "did not return a law"),  # type: ignore[arg-type]
    "breaks without end": ("film_planes", curve(breaks_mm=count()), "did not return a Profile with a length"),
    "a rule raises": ("hole_rules", rule(raising), "raised ZeroDivisionError"),
    "a rule is NaN": ("hole_rules", rule(lambda **_: np.nan), "did not return a diameter"),
    "a rule is nothing": ("hole_rules", rule(lambda **_: None), "did not return a diameter"),
    "a receptor raises": ("receptors", receptor(raising), "raised ZeroDivisionError"),
    "a receptor is none": ("receptors", receptor(dict), "did not return a Receptor"),
    "a receptor sees NaN": ("receptors", receptor(lambda: BLIND), "with a wavelength inside its band"),
    "a reading raises": ("light_readings", reading(raising), "raised ZeroDivisionError"),
    "a reading is NaN": ("light_readings", reading(lambda **_: np.nan), "did not return an exposure value"),
}


@pytest.mark.parametrize("name", FAILURES)
def test_a_failing_call_is_a_problem_that_names_it(install: Any, api: APIClient, name: str) -> None:
    point, made, sentence = FAILURES[name]
    path, body = ASK[point]
    assert install(made).state == "active"
    problem = problem_of(api.post(API + path, body), 502)
    assert problem["type"] == "urn:pinpool:problem:plugin_failed"
    assert problem["detail"].startswith(f"Plug-in guest_plugin: {point} “third” ")
    assert sentence in problem["detail"]
    assert "secret" not in problem["detail"]


@pytest.mark.parametrize("name", FAILURES)
def test_a_failing_call_harms_nothing_else(install: Any, api: APIClient, name: str) -> None:
    """Every question that does not name it is answered."""
    install(FAILURES[name][1])
    for path in ("film-plane/", "hole-diameter/", "light/", "exposure/", "camera-plan/"):
        response = api.post(API + path, OPTICS[path])
        assert response.status_code == 200, (path, response.content)


def test_the_document_lists_failing_ones_like_any_other(install: Any, api: APIClient) -> None:
    parts = {point: getattr(made, point) for point, made, _ in FAILURES.values()}
    install(plugin(**parts))
    document = api.get("/api/v1/schema/").content.decode()
    assert {title for title in ("ThirdPlane", "ThirdLaw", "ThirdReading") if title in document} == {
        "ThirdPlane", "ThirdLaw", "ThirdReading",
    }  # fmt: skip


def test_a_rule_that_fails_is_told_beside_those_that_answer(install: Any, api: APIClient) -> None:
    install(rule(raising))
    for found in (
        api.post(API + "hole-diameter/", {"focal_length": "90 mm"}).json(),
        api.post(API + "camera-plan/", OPTICS["camera-plan/"]).json()["hole"],
    ):
        assert "third" not in [each["rule"] for each in found["rules"]]
        [flag] = [flag for flag in found["flags"] if flag["code"] == "plugin_failed"]
        assert "guest_plugin" in flag["text"]


def test_a_good_one_is_used_like_our_own(install: Any, api: APIClient) -> None:
    def film_plane(*, size_mm: float, hole_offset_x_mm: float) -> Profile:
        return flat(width_mm=size_mm, distance_mm=60.0, hole_offset_x_mm=hole_offset_x_mm)

    def turned(*, angle_rad: float) -> Any:
        flags = (Flag("guessed", "It is a guess."),)
        return SimpleNamespace(correct=lambda t: t * (1 + angle_rad), flags=flags)

    third = Receptor("third", "somebody else's emulsion", 480.0, (400.0, 520.0), "invented")
    candles = Parameter("candles", "number", "how many", minimum=0.0, maximum=9.0)
    angle = Parameter("angle", "angle", "an angle", required=False, default=180.0)
    made = {
        "film_planes": contribution("third", film_plane, parameters=(Parameter("size", "length", "", minimum=1.0),)),
        "hole_rules": contribution("third", lambda *, focal_length_mm, **_: focal_length_mm / 200),
        "receptors": contribution("third", lambda: third),
        "reciprocity_laws": contribution("third", turned, parameters=(angle,)),
        "light_readings": contribution(
            "third",
            lambda *, candles, word: 3.0 + candles + len(word),
            parameters=(candles, Parameter("word", "text", "which")),
        ),
    }
    install(plugin(**{point: (each,) for point, each in made.items()}))
    plane = {"kind": "third", "size": "9 cm", "height": "60 mm", "hole_offset": {"x": "5 mm"}}
    ours = {"kind": "flat", "width": "9 cm", "height": "60 mm", "distance": "60 mm", "hole_offset": {"x": "5 mm"}}
    answers = [api.post(API + "film-plane/", {"film_plane": each}).json() for each in (plane, ours)]
    assert answers[0] == answers[1]
    found = api.post(API + "hole-diameter/", {"focal_length": "90 mm", "rule": "third", "receptor": "third"}).json()
    assert found["chosen"]["diameter"] == {"value": 0.45, "unit": "mm"}
    assert found["chosen"]["source"] == "invented"
    light = {"candles": 2, "word": "tallow"}
    assert api.post(API + "light/", {"reading": light}).json()["ev100"] == 11.0
    body = OPTICS["exposure/"] | {"reading": light, "reciprocity": {"law": "third", "angle": "90 deg"}}
    exposed = api.post(API + "exposure/", body).json()
    assert exposed["reciprocity_stops"] == pytest.approx(np.log2(1 + np.pi / 2))
    assert exposed["flags"] == [{"code": "guessed", "text": "It is a guess."}]
    assert faults_in(api.post(API + "light/", {"reading": light | {"candles": 10}})) == {
        ("/reading/candles", "out_of_range")
    }
    assert faults_in(api.post(API + "film-plane/", {"film_plane": plane | {"size": "0.5 mm"}})) == {
        ("/film_plane/size", "out_of_range")
    }


def test_a_stored_name_may_outlive_its_plugin() -> None:
    with pytest.raises(PluginFailed, match="No plug-in here offers film_planes “gone”"):
        contributed.film_plane("gone", height_mm=60.0)


def test_its_refusals_are_the_callers_fault(install: Any, api: APIClient) -> None:
    def refusing(**_: Any) -> Any:
        raise Impossible("too_odd", "Make it less odd.", "size")

    install(film(refusing))
    path, body = ASK["film_planes"]
    assert faults_in(api.post(API + path, body), 422) == {("/film_plane/size", "too_odd")}


@pytest.mark.parametrize(
    "told", [("odd", "of \udcff bytes", "size"), ("\udcff", "It is odd.", "size"), ("odd", "x", "\udcff")]
)
def test_a_refusal_that_quotes_bytes_is_told_all_the_same(install: Any, api: APIClient, told: Any) -> None:
    def refusing(**_: Any) -> Any:
        raise Impossible(*told)

    install(film(refusing))
    path, body = ASK["film_planes"]
    response = api.post(API + path, body)
    assert response.status_code == 422
    assert [each.replace("\udcff", "?") for each in told[:2]] == [
        response.json()["errors"][0][key] for key in ("code", "detail")
    ]


def test_a_flag_that_quotes_bytes_is_told_all_the_same(install: Any, api: APIClient) -> None:
    install(correction(lambda times: times, flags=(Flag("odd", "of \udcff bytes"),)))
    path, body = ASK["reciprocity_laws"]
    assert {"code": "odd", "text": "of ? bytes"} in api.post(API + path, body).json()["flags"]
