"""Every call of the OpenAPI document: with data that fits it, data that does not, and good bodies bent at random.

The calls run through the WSGI application, as a server would make them, and each answer must be as documented. Most
calls inside a club name a club, a camera and a paper that exist, and those of a place its code.
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
from tests.bodies import FILM_PLANES, LAWS, OPTICS, PLACES, READINGS
from tests.clubs.test_api import Here, address
from tests.factories import AccountFactory

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


class Known:
    """A club in which things of every kind exist, and the token of its keeper."""

    def __init__(self, here: Here) -> None:
        self.here = here
        AccountFactory.create(username="walker")
        _, secret = ApiToken.issue(user=here.members["keeper"].user, name="fuzz")
        self.headers = {"Authorization": f"Bearer {secret}", "If-Match": "*"}

    def address_of(self, path: str) -> str:
        """A path of the document with names that exist in the places of its parameters."""
        below = path.partition("{club}/")[2]
        for name, kind in {"id": "uuid", "code": "slug", "number": "int", "place": "int"}.items():
            below = below.replace(f"{{{name}}}", f"<{kind}:{name}>")
        return address(self.here, below).partition("?")[0]

    def put_names(self, case: Any) -> None:
        """Names that exist in the place of invented ones, in the address and in the body."""
        if "{club}" in case.path:
            steps = zip(case.path.split("/"), self.address_of(case.path).split("/"), strict=True)
            case.path_parameters = {step[1:-1]: value for step, value in steps if step.startswith("{")}
        elif "{claim_code}" in case.path:
            case.path_parameters = {"claim_code": self.here.place.code}
            case.path_parameters |= {"id": str(self.here.noted.id)} if "{id}" in case.path else {}
        elif "{code}" in case.path:
            case.path_parameters = {"code": self.here.invitation.code}
        if isinstance(case.body, dict):
            names = {"camera": "T1", "paper": str(self.here.paper.id)}
            case.body = case.body | {name: value for name, value in names.items() if name in case.body}

    def good_body(self, path: str) -> Any:
        if path.startswith("/api/v1/optics/"):
            return OPTICS[path.removeprefix("/api/v1/optics/")]
        if "{claim_code}" in path:
            return PLACES[path.partition("{claim_code}/")[2].replace("{id}", "<uuid:id>")]
        if "{club}" not in path:
            return {"slug": "brook", "name": "Brook"}
        return self.here.bodies[self.address_of(path).removeprefix(self.here.at)]


@pytest.fixture
def known(as_user: Any) -> Known:
    return Known(Here(as_user))


@pytest.fixture(autouse=True)
def one_connection(known: Known) -> Iterator[None]:
    """The test's transaction outlives each request, as with Django's own client, whose use in `known` comes first."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE], ids=["fitting", "unfitting"])
@pytest.mark.parametrize("label", OPERATIONS)
def test_every_answer_is_as_documented(known: Known, label: str, mode: GenerationMode) -> None:
    operation = OPERATIONS[label]
    if mode is GenerationMode.NEGATIVE and not (operation.body or operation.query or operation.path_parameters):
        mode = GenerationMode.POSITIVE  # nothing of it can be wrong

    @settings(derandomize=True, max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))
    @given(case=operation.as_strategy(generation_mode=mode), real=st.booleans(), signed_in=st.booleans())
    def answers(case: Any, real: bool, signed_in: bool) -> None:
        if real or signed_in:
            known.put_names(case)
        headers = known.headers if real or signed_in else {}
        response = case.call(app=application, base_url="http://localhost", headers=headers)
        case.validate_response(response, checks=CHECKS)
        assert str(response.status_code) in {*operation.responses.status_codes, *ANY_CALL}

    answers()


@pytest.mark.parametrize(
    "label",
    [
        label
        for label, operation in OPERATIONS.items()
        if JSON in {body.media_type for body in operation.body}
        and re.search("/(clubs|optics|places)/", label)  # not accounts
    ],
)
def test_good_bodies_bent_at_random(known: Known, label: str) -> None:
    """Sizes grown and shrunk, kinds exchanged, keys left out: most of these are answered in full."""
    operation = OPERATIONS[label]
    good = known.good_body(operation.path)
    found = set()

    @settings(derandomize=True, max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))
    @given(body=bent(good), inches=st.booleans())
    def answers(body: Any, inches: bool) -> None:
        query = {"lengths": "in"} if inches and "lengths" in {each.name for each in operation.query} else {}
        case = operation.Case(body=body, query=query, media_type=JSON, path_parameters={})
        known.put_names(case)
        response = case.call(app=application, base_url="http://localhost", headers=known.headers)
        case.validate_response(response, checks=CHECKS)
        found.add(response.status_code)
        assert response.status_code in {200, 201, 400, 409, 412, 422}

    answers()
    assert found & ({422} if "packets" in label else {200, 201, 409})  # a bent packet shows by its checksum


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
        if value is None:
            return None
        quantity = re.fullmatch(r"(-?[0-9.]+) ?([a-zµ°/^2]+)", value)
        return {"value": float(quantity[1]) * scale, "unit": quantity[2].replace("°", "deg")} if quantity else value

    return bend(good)
