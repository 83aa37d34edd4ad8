"""What a careless and what a hostile caller meet: a 4xx problem that points at each fault, all at once, never a 500."""

import copy
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from rest_framework.test import APIClient

from tests.bodies import CLUB, FILM_PLANES, LAWS, OPTICS, READINGS
from tests.clubs.test_api import Here, address
from tests.factories import MembershipFactory
from tests.problems import faults_in, problem_of

API = "/api/v1/optics/"
VECTORS = json.loads((Path(__file__).parents[2] / "fixtures/vectors/quantities.json").read_text())
#: A field of each kind of quantity that a body takes: its address, a body, and the steps to the field.
FIELDS: dict[str, tuple[str, dict[str, Any], tuple[str | int, ...]]] = {
    "length": ("film-plane/", OPTICS["film-plane/"], ("film_plane", "hole_offset", "x")),
    "wavelength": ("hole-diameter/", {"focal_length": "100 mm", "wavelength": ""}, ("wavelength",)),
    "time": ("light/", {"reading": READINGS["time"]}, ("reading", "time")),
    "illuminance": ("light/", {"reading": READINGS["illuminance"]}, ("reading", "illuminance")),
    "luminance": ("light/", {"reading": READINGS["luminance"]}, ("reading", "luminance")),
    "resolution": ("hole-measurement/", OPTICS["hole-measurement/"], ("readings", 1, "resolution")),
    "angle": ("sun/", OPTICS["sun/"], ("latitude",)),
}
REFUSED = [
    (case["kind"], case.get("text", case.get("data")), case["code"])
    for case in VECTORS["refused"] + VECTORS["refused_objects"]
    if case["kind"] in FIELDS and "\0" not in str(case.get("text", ""))
]


def put(body: Any, steps: tuple[str | int, ...], value: Any) -> Any:
    """A copy of `body` with `value` at the end of `steps`."""
    changed = copy.deepcopy(body)
    at = changed
    for step in steps[:-1]:
        at = at[step]
    at[steps[-1]] = value
    return changed


def pointer_to(steps: tuple[str | int, ...]) -> str:
    return "".join(f"/{step}" for step in steps)


def places(body: Any, steps: tuple[str | int, ...] = ()) -> Iterator[tuple[tuple[str | int, ...], Any]]:
    """Every value inside `body` with the steps to it."""
    if steps:
        yield steps, body
    if isinstance(body, dict | list):
        for step, value in body.items() if isinstance(body, dict) else enumerate(body):
            yield from places(value, (*steps, step))


def kind_of(value: Any) -> str:
    """The JSON type of a value; one word for every number."""
    names = {bool: "boolean", int: "number", float: "number", str: "text", list: "array", dict: "object"}
    return names.get(type(value), "null")


# -------------------------------------------------------------------------------------------------- quantities


@pytest.mark.parametrize(("kind", "data", "code"), REFUSED, ids=lambda value: ascii(value)[:40])
def test_every_quantity_that_is_none(api: APIClient, kind: str, data: Any, code: str) -> None:
    path, body, steps = FIELDS[kind]
    sent = json.dumps(put(body, steps, data))
    if data is None:
        code = "null"
    elif "0" * 65 in sent:  # an integer so long that it does not get past the parser
        code, steps = "number_too_long", ()
    response = api.generic("POST", API + path, sent, content_type="application/json")
    assert (pointer_to(steps), code) in faults_in(response)


def test_a_bare_number_is_told_the_units_that_would_do(api: APIClient) -> None:
    response = api.post(API + "f-number/", {"focal_length": 61, "diameter": "0.24"})
    errors = {error["pointer"]: error["detail"] for error in problem_of(response, 400)["errors"]}
    assert errors.keys() == {"/focal_length", "/diameter"}
    assert all("mm, cm, m, µm, nm, in or ft" in detail for detail in errors.values())


@pytest.mark.parametrize(
    ("path", "body", "pointer"),
    [
        ("f-number/", {"focal_length": "0 mm", "diameter": "0.24 mm"}, "/focal_length"),
        ("f-number/", {"focal_length": "-61 mm", "diameter": "0.24 mm"}, "/focal_length"),
        ("f-number/", {"focal_length": "11 m", "diameter": "0.24 mm"}, "/focal_length"),
        ("hole-diameter/", {"focal_length": "61 mm", "wavelength": "100 nm"}, "/wavelength"),
        ("hole-diameter/", {"focal_length": "61 mm", "receptor": "2 µm"}, "/receptor"),
        ("light/", {"reading": {"ev": 31}}, "/reading/ev"),
        ("light/", {"reading": {"ev": 12, "iso": 0}}, "/reading/iso"),
        ("light/", {"reading": {"time": "0 s", "f_number": 16}}, "/reading/time"),
        ("light/", {"reading": {"illuminance": "0 lx"}}, "/reading/illuminance"),
        ("exposure-table/", {"f_number": 0.9, "exposure_index": 6}, "/f_number"),
        ("exposure-table/", {"f_number": 200, "exposure_index": 0}, "/exposure_index"),
        ("exposure-table/", {"f_number": 200, "exposure_index": 6, "step": 0.05}, "/step"),
        ("illumination/", OPTICS["illumination/"] | {"columns": 402}, "/columns"),
        ("illumination/", OPTICS["illumination/"] | {"used_share": 1.01}, "/used_share"),
        ("sheet-cuts/", OPTICS["sheet-cuts/"] | {"kerf": "-1 mm"}, "/kerf"),
    ],
)  # fmt: skip
def test_out_of_range(api: APIClient, path: str, body: dict[str, Any], pointer: str) -> None:
    [fault] = faults_in(api.post(API + path, body))
    assert fault[0] == pointer
    assert fault[1] in {"out_of_range", "max_value"}


# --------------------------------------------------------------------------------------------- types and keys


@pytest.mark.parametrize("path", OPTICS)
def test_good_bodies_are_answered(api: APIClient, path: str) -> None:
    assert api.post(API + path, OPTICS[path]).status_code == 200


@pytest.mark.parametrize("path", OPTICS)
def test_wrong_types_everywhere(api: APIClient, path: str) -> None:
    check_wrong_types(api, API + path, OPTICS[path])


@pytest.mark.parametrize("path", OPTICS)
def test_unknown_keys_everywhere(api: APIClient, path: str) -> None:
    check_unknown_keys(api, API + path, OPTICS[path])


@pytest.mark.parametrize("path", OPTICS)
def test_missing_keys_everywhere(api: APIClient, path: str) -> None:
    check_missing_keys(api, API + path, OPTICS[path])


@pytest.mark.parametrize("path", OPTICS)
@pytest.mark.parametrize("body", [None, [], [{}], "x", "", 5, 1.5, True, {}], ids=repr)
def test_bodies_of_the_wrong_shape(api: APIClient, path: str, body: Any) -> None:
    response = api.generic("POST", API + path, json.dumps(body), content_type="application/json")
    faults = faults_in(response)
    assert {pointer for pointer, _ in faults} == {""} or body == {}


#: What is of another type and yet no fault: nothing told, or a process told in one text.
TAKEN = [("result", None), ("place", None), ("process", None), ("process", "x")]


def check_wrong_types(client: APIClient, address: str, body: Any) -> None:
    """Each value in turn becomes one of every other JSON type; each is refused where it stands."""
    for steps, value in places(body):
        for wrong in (None, True, 7, 1.5, "x", [], {}):
            if kind_of(wrong) == kind_of(value) or (steps[-1], wrong) in TAKEN:
                continue
            at = pointer_to(steps)
            pointers = {pointer for pointer, _ in faults_in(client.post(address, put(body, steps, wrong)))}
            assert pointers, (at, wrong)
            # A reading or a list of holes may be at fault as a whole where one key decides what it is.
            assert all(pointer.startswith(at) or at.startswith(pointer) for pointer in pointers), (at, wrong, pointers)


def check_unknown_keys(client: APIClient, address: str, body: Any) -> None:
    objects = [((), body), *((steps, value) for steps, value in places(body) if isinstance(value, dict))]
    for steps, value in objects:
        more = value | {"colour": 1, "a/b~c": {}}
        response = client.post(address, put(body, steps, more) if steps else more)
        at = pointer_to(steps)
        assert faults_in(response) == {(f"{at}/colour", "unknown_key"), (f"{at}/a~1b~0c", "unknown_key")}
        assert "known here: " in problem_of(response, 400)["errors"][0]["detail"]


def check_missing_keys(client: APIClient, address: str, body: Any) -> None:
    """Without a key the body is refused at that key, or the key was optional."""
    for steps, _ in [((), body), *places(body)]:
        at: Any = body
        for step in steps:
            at = at[step]
        for key in at if isinstance(at, dict) else ():
            less = {name: value for name, value in at.items() if name != key}
            response = client.post(address, put(body, steps, less) if steps else less)
            if response.status_code == 400:
                here = pointer_to(steps)
                pointers = {pointer for pointer, _ in faults_in(response)}
                assert all(pointer.startswith(here) for pointer in pointers), (here, key, pointers)
            else:
                assert response.status_code in {200, 201, 422}, (steps, key, response.content)


def test_all_faults_at_once(api: APIClient) -> None:
    body = {
        "film_plane": {"kind": "flat", "width": "1,5 mm", "distance": 61, "hole_offset": {"x": "nan", "z": "0 mm"}},
        "hole": {"diameter": True, "plate_thickness": "9**9**9 mm"},
        "wall_thickness": "3 s",
        "margin": "1,000 mm",
        "plate_side": "above",
        "used_share": "1",
        "colour": "red",
    }
    assert faults_in(api.post(API + "wall-opening/", body)) == {
        ("/film_plane/width", "decimal_comma"),
        ("/film_plane/height", "required"),
        ("/film_plane/distance", "unit_missing"),
        ("/film_plane/hole_offset/x", "not_a_number"),
        ("/film_plane/hole_offset/z", "unknown_key"),
        ("/hole/diameter", "boolean"),
        ("/hole/plate_thickness", "expression"),
        ("/wall_thickness", "unit_wrong_kind"),
        ("/margin", "thousands_separator"),
        ("/plate_side", "invalid_choice"),
        ("/used_share", "not_a_number"),
        ("/colour", "unknown_key"),
    }


@pytest.mark.parametrize(
    ("reading", "fault"),
    [
        ({}, ("/reading", "unknown_reading")),
        ({"iso": 100}, ("/reading", "unknown_reading")),
        ({"lux": "5 lx"}, ("/reading", "unknown_reading")),
        ({"ev": 12, "illuminance": "5 lx"}, ("/reading", "ambiguous")),
        ({"time": "1 s"}, ("/reading/f_number", "required")),
        ({"f_number": 16}, ("/reading/time", "required")),
        ({"ev": 12, "f_number": 16}, ("/reading/f_number", "unknown_key")),
        ("EV 12", ("/reading", "wrong_type")),
    ],
)
def test_readings_that_are_none(api: APIClient, reading: Any, fault: tuple[str, str]) -> None:
    assert faults_in(api.post(API + "light/", {"reading": reading})) == {fault}


@pytest.mark.parametrize(
    ("law", "fault"),
    [
        ({}, ("/reciprocity/law", "required")),
        ({"law": "Power"}, ("/reciprocity/law", "invalid_choice")),
        ({"law": ["power"]}, ("/reciprocity/law", "invalid_choice")),
        ({"exponent": 1.3}, ("/reciprocity/law", "required")),
        ({"law": "power"}, ("/reciprocity/exponent", "required")),
        ({"law": "power", "exponent": 0.9}, ("/reciprocity/exponent", "out_of_range")),
        ({"law": "none", "exponent": 1.3}, ("/reciprocity/exponent", "unknown_key")),
        ({"law": "table", "rows": []}, ("/reciprocity/rows", "min_length")),
        ({"law": "table", "rows": [["1 s"], ["1 s", "2 s", "3 s"]]}, ("/reciprocity/rows/1", "max_length")),
        ({"law": "table", "rows": [["1 s", "1"], ["2 s", "3 s"]]}, ("/reciprocity/rows/0/1", "unit_missing")),
        ("none", ("/reciprocity", "wrong_type")),
    ],
)
def test_laws_that_are_none(api: APIClient, law: Any, fault: tuple[str, str]) -> None:
    assert fault in faults_in(api.post(API + "exposure/", OPTICS["exposure/"] | {"reciprocity": law}))


@pytest.mark.parametrize("name", ["kind", "law"])
@pytest.mark.parametrize("value", ["__class__", "FLAT", "flat ", "", "😀", "flat\n"])
def test_names_of_no_kind(api: APIClient, name: str, value: str) -> None:
    path, key, good = {
        "kind": ("film-plane/", "film_plane", FILM_PLANES["flat"]),
        "law": ("exposure/", "reciprocity", LAWS["none"]),
    }[name]
    response = api.post(API + path, OPTICS[path] | {key: good | {name: value}})
    assert faults_in(response) == {(f"/{key}/{name}", "invalid_choice")}


# ------------------------------------------------------------------------------------------------- whole bodies


@pytest.mark.parametrize(
    ("body", "code"),
    [
        (b'{"focal_length": 9**9**9}', "bad_json"),
        (b'{"focal_length": {"value": NaN, "unit": "mm"}}', "not_a_number"),
        (b'{"focal_length": {"value": -Infinity, "unit": "mm"}}', "not_finite"),
        (b'{"focal_length": {"value": 1e999, "unit": "mm"}}', "not_finite"),
        (b'{"focal_length": ' + b"9" * 100_000 + b"}", "number_too_long"),
        (b"[" * 100_000, "too_many_values"),
        (b'{"a":' * 5000 + b"1" + b"}" * 5000, "too_deep"),
        (b'{"focal_length": "61 mm", "focal_length": "62 mm"}', "duplicate_key"),
        (b'{"focal_length": "\\u0000"}', "nul_character"),
        (b'{"focal_length": "\\ud800"}', "lone_surrogate"),
        (b"\xff", "bad_encoding"),
        (b"", "required"),
    ],
    ids=lambda value: ascii(value)[:40],
)
def test_bodies_that_are_not_read(api: APIClient, body: bytes, code: str) -> None:
    response = api.generic("POST", API + "f-number/", body, content_type="application/json")
    assert code in {code for _, code in faults_in(response)}


def test_a_text_of_a_hundred_thousand_digits(api: APIClient) -> None:
    response = api.post(API + "f-number/", {"focal_length": "9" * 100_000 + " mm", "diameter": "0.24 mm"})
    assert faults_in(response) == {("/focal_length", "too_long")}
    assert len(response.content) < 1000


def test_many_faults_are_all_named(api: APIClient) -> None:
    points = [["1,5 mm", 3]] * 500
    response = api.post(API + "film-plane/", {"film_plane": {"kind": "profile", "height": "1 mm", "points": points}})
    assert len(problem_of(response, 400)["errors"]) == 1000


@pytest.mark.parametrize("path", OPTICS)
def test_413(api: APIClient, path: str) -> None:
    response = api.generic("POST", API + path, b'"' + b"x" * 1_000_001 + b'"', content_type="application/json")
    assert faults_in(response, 413) == {("", "too_large")}


@pytest.mark.parametrize("path", OPTICS)
@pytest.mark.parametrize("media", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", "x", ""])
def test_415(api: APIClient, path: str, media: str) -> None:
    problem_of(api.generic("POST", API + path, b"{}", content_type=media), 415)


# ------------------------------------------------------------------------------------------------------- query


@pytest.mark.parametrize("path", OPTICS)
def test_unknown_query_names(api: APIClient, path: str) -> None:
    response = api.post(API + path + "?length=in&lengths=mm&format=json", OPTICS[path])
    assert faults_in(response) == {("/length", "unknown_query"), ("/format", "unknown_query")}
    assert all("lengths" in error["detail"] for error in problem_of(response, 400)["errors"])


@pytest.mark.parametrize(
    ("query", "code"),
    [("lengths=cm", "invalid_choice"), ("lengths=", "blank"), ("lengths", "blank"), ("lengths=IN", "invalid_choice"),
     ("lengths=in&lengths=in", "repeated_query"), ("lengths=%00", "invalid_choice"), ("lengths=%ff", "invalid_choice")],
)  # fmt: skip
def test_units_that_lengths_are_not_shown_in(api: APIClient, query: str, code: str) -> None:
    response = api.post(f"{API}light/?{query}", OPTICS["light/"])
    assert faults_in(response) == {("/lengths", code)}


@pytest.mark.parametrize("query", ["cursor=Zjox", "page_size=5", "camera=T1"])
def test_pages_and_filters_are_the_lists_alone(keeper: Any, query: str) -> None:
    """A body that is stored has no second page."""
    client, address, bodies = keeper
    name = query.partition("=")[0]
    response = client.post(f"{address}exposures/?{query}", bodies["exposures/"])
    assert faults_in(response) == {(f"/{name}", "unknown_query")}
    assert client.post(f"{address}cameras/?lengths=in", bodies["cameras/"]).status_code == 201


@pytest.mark.parametrize("query", ["camera=", "camera=%20", "camera=%C2%A0", "paper=", "member=", "shared=", "cursor="])
def test_a_blank_filter_does_not_answer_with_everything(as_user: Any, query: str) -> None:
    member = MembershipFactory.create()
    response = as_user(member.user).get(f"/api/v1/clubs/{member.club.slug}/exposures/?{query}")
    assert faults_in(response) == {("/" + query.partition("=")[0], "blank")}


# ------------------------------------------------------------------------------------------------------- clubs


@pytest.fixture
def keeper(as_user: Any) -> tuple[APIClient, str, dict[str, dict[str, Any]]]:
    """A keeper's client, their club's address, and good bodies that are posted there."""
    here = Here(as_user)
    paths = [address(here, route).removeprefix(here.at) for route in CLUB]
    return here.clients["keeper"], here.at, {path: here.bodies[path] for path in [*paths, "cameras/T1/specs/"]}


def test_wrong_types_everywhere_in_a_club(keeper: Any) -> None:
    client, address, bodies = keeper
    for path, body in bodies.items():
        check_wrong_types(client, address + path, body)
    check_wrong_types(client, "/api/v1/clubs/", {"slug": "creek", "name": "Creek"})


def test_unknown_keys_everywhere_in_a_club(keeper: Any) -> None:
    client, address, bodies = keeper
    for path, body in bodies.items():
        check_unknown_keys(client, address + path, body)
    check_unknown_keys(client, "/api/v1/clubs/", {"slug": "creek", "name": "Creek"})


def test_unknown_query_names_in_a_club(keeper: Any) -> None:
    client, address, bodies = keeper
    reads = (
        "", "invitations/", "trail/", "imports/", "cameras/T1/photos/", "export/archive/", "membership/",
        "reciprocity/", "reciprocity/cameras/", "reciprocity/members/", "reciprocity/model/", "cameras/T1/",
        "papers/", "exposures/", "cameras/", "members/", "cameras/T1/specs/", "next-tests/", "doubts/", "pool/",
        "catalogue/", "paper-merges/", "packets/", "packets/own/",
    )  # fmt: skip
    for response in (
        *(client.get(f"{address}{path}?colour=1") for path in reads),
        *(client.post(f"{address}{path}?colour=1", body) for path, body in bodies.items()),
        client.get("/api/v1/clubs/?colour=1"),
        client.get("/api/v1/plugins/?colour=1"),
    ):
        assert faults_in(response) == {("/colour", "unknown_query")}


@pytest.mark.parametrize("path", ["/api/v1/optics/hole-scan/", "/sign-in/"])
def test_a_form_with_a_header_numbered_in_part(db: None, path: str) -> None:
    """Python's reader of such headers fails, and Django's leaves it so; no browser sends one."""
    client = Client(enforce_csrf_checks=True, raise_request_exception=False)
    client.get("/sign-in/")
    body = b"--x\r\nContent-Disposition: form-data; name*0*=a; name*=b\r\n\r\n1\r\n--x--\r\n"
    response = client.post(path, body, content_type="multipart/form-data; boundary=x")
    assert "in part only" in problem_of(response, 400)["detail"]
