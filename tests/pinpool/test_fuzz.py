"""Every call of the OpenAPI document: with data that fits it, data that does not, and good bodies bent at random.

The calls run through the WSGI application, as a server would make them, and each answer must be as documented. Most
calls inside a club name a club, a camera and a paper that exist.
"""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis.checks import not_a_server_error
from schemathesis.generation import GenerationMode
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from pinpool.models import ApiToken
from pinpool.wsgi import application
from tests.bodies import CLUB, FILM_PLANES, LAWS, OPTICS, PACKET, POOL, READINGS
from tests.factories import AccountFactory, CameraSpecFactory, ExposureLogFactory, MembershipFactory, PaperFactory

DOCUMENT = schemathesis.openapi.from_path(Path(__file__).parents[2] / "fixtures/openapi.yaml")
OPERATIONS = {found.ok().label: found.ok() for found in DOCUMENT.get_all_operations()}
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
    response_headers_conformance,
]
#: What the document sums up as its default answer, beside the statuses it lists one by one.
ANY_CALL = {"401", "403", "404", "405", "406", "413", "415"}
EXAMPLES = 12
JSON = "application/json"


@pytest.fixture(autouse=True)
def one_connection() -> Iterator[None]:
    """The test's transaction outlives each request, as with Django's own test client."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.fixture
def known(db: None) -> dict[str, str]:
    """Names that exist in one club, and the token of its keeper."""
    keeper = MembershipFactory.create(role="keeper", club__slug="creek")
    spec = CameraSpecFactory.create(camera__club=keeper.club, camera__code="T1")
    paper = PaperFactory.create(club=keeper.club, name="Cordgrass")
    PaperFactory.create(club=keeper.club, name="Cord grass")
    log = ExposureLogFactory.create(spec=spec, paper=paper)
    AccountFactory.create(username="walker")
    _, secret = ApiToken.issue(user=keeper.user, name="fuzz")
    names = {"camera": "T1", "paper": str(paper.id), "log": str(log.id), "token": secret}
    return names | {"member": str(MembershipFactory.create(club=keeper.club).pk)}


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE], ids=["fitting", "unfitting"])
@pytest.mark.parametrize("label", OPERATIONS)
def test_every_answer_is_as_documented(known: dict[str, str], label: str, mode: GenerationMode) -> None:
    operation = OPERATIONS[label]
    if mode is GenerationMode.NEGATIVE and not (operation.body or operation.query or operation.path_parameters):
        mode = GenerationMode.POSITIVE  # nothing of it can be wrong

    @settings(derandomize=True, max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))
    @given(case=operation.as_strategy(generation_mode=mode), real=st.booleans(), signed_in=st.booleans())
    def answers(case: Any, real: bool, signed_in: bool) -> None:
        if real or signed_in:
            put_names(case, known)
        headers = {"Authorization": f"Bearer {known['token']}", "If-Match": "*"} if real or signed_in else {}
        response = case.call(app=application, base_url="http://localhost", headers=headers)
        case.validate_response(response, checks=CHECKS)
        assert str(response.status_code) in {*operation.responses.status_codes, *ANY_CALL}

    answers()


@pytest.mark.parametrize(
    "label",
    [
        label
        for label, operation in OPERATIONS.items()
        if JSON in {body.media_type for body in operation.body} and re.search("/(clubs|optics)/", label)  # not accounts
    ],
)
def test_good_bodies_bent_at_random(known: dict[str, str], label: str) -> None:
    """Sizes grown and shrunk, kinds exchanged, keys left out: most of these are answered in full."""
    operation, good = OPERATIONS[label], good_body(label)
    found = set()

    @settings(derandomize=True, max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))
    @given(body=bent(good), inches=st.booleans())
    def answers(body: Any, inches: bool) -> None:
        query = {"lengths": "in"} if inches and "lengths" in {each.name for each in operation.query} else {}
        case = operation.Case(body=body, query=query, media_type=JSON, path_parameters=dict.fromkeys(
            (each.name for each in operation.path_parameters), ""))  # fmt: skip
        put_names(case, known)
        headers = {"Authorization": f"Bearer {known['token']}", "If-Match": "*"}
        response = case.call(app=application, base_url="http://localhost", headers=headers)
        case.validate_response(response, checks=CHECKS)
        found.add(response.status_code)
        assert response.status_code in {200, 201, 400, 409, 412, 422}

    answers()
    assert found & ({422} if "packets" in label else {200, 201})  # a bent packet shows by its checksum


def good_body(label: str) -> Any:
    path = label.rpartition("/api/v1/")[2]
    if path.startswith("optics/"):
        return OPTICS[path.removeprefix("optics/")]
    bodies = CLUB | {"cameras/{code}/specs/": CLUB["cameras/"]["spec"], "": {"slug": "brook", "name": "Brook"}}
    bodies |= {"packets/": PACKET, "pool/": POOL, "members/{number}/": {"role": "leader"}}
    return bodies[path.removeprefix("clubs/").removeprefix("{club}/")]


@st.composite
def bent(draw: st.DrawFn, good: Any) -> Any:
    """`good` with quantities and numbers scaled by up to 8 either way, and here and there a key left out."""

    def bend(value: Any) -> Any:
        if isinstance(value, dict):
            kept = [key for key in value if key == "kind" or draw(st.integers(0, 15)) < 15]
            exchanged = {"film_plane": FILM_PLANES, "reading": READINGS, "reciprocity": LAWS}
            return {key: draw(st.sampled_from(list(exchanged[key].values()))) if key in exchanged else bend(value[key])
                    for key in kept}  # fmt: skip
        if isinstance(value, list):
            return [bend(each) for each in value]
        scale = 2.0 ** draw(st.integers(-3, 3))
        if isinstance(value, bool):
            return draw(st.booleans())
        if isinstance(value, int | float):
            return type(value)(value * scale)
        quantity = re.fullmatch(r"(-?[0-9.]+) ?([a-zµ°/^2]+)", value)
        return {"value": float(quantity[1]) * scale, "unit": quantity[2].replace("°", "deg")} if quantity else value

    return bend(good)


def put_names(case: Any, known: dict[str, str]) -> None:
    """Names that exist in the place of invented ones, in the address and in the body."""
    paper = "papers" in case.path
    names = {"club": "creek", "code": "T1", "id": known["paper" if paper else "log"], "number": known["member"]}
    for name, value in names.items():
        if name in (case.path_parameters or {}):
            case.path_parameters[name] = value
    if isinstance(case.body, dict):
        case.body = case.body | {name: known[name] for name in ("camera", "paper") if name in case.body}
