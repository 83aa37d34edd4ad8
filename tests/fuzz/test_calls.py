"""Every call of the OpenAPI document: with data that fits it, data that does not, and good bodies bent at random.

The calls run through the WSGI application, as a server would make them, and each answer must be as documented. Most
calls inside a club name a club, a camera and a paper that exist, and those of a place its code.
"""

import re
from typing import Any

import pytest
from django.core.cache import caches
from hypothesis import given
from hypothesis import strategies as st
from schemathesis.generation import GenerationMode

from pinpool.conf import setting
from pinpool.wsgi import application
from tests.bodies import FILM_PLANES, LAWS, READINGS
from tests.clubs.test_api import Here
from tests.fuzz.effort import tries
from tests.fuzz.known import ANY_CALL, CHECKS, OPERATIONS, Known

FEW, MANY = 12, 300
JSON = "application/json"


@pytest.fixture
def known(here: Here, one_connection: None) -> Known:
    return Known(here)


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE], ids=["fitting", "unfitting"])
@pytest.mark.parametrize("label", OPERATIONS)
def test_every_answer_is_as_documented(known: Known, label: str, mode: GenerationMode) -> None:
    operation = OPERATIONS[label]
    if mode is GenerationMode.NEGATIVE and not (operation.body or operation.query or operation.path_parameters):
        mode = GenerationMode.POSITIVE  # nothing of it can be wrong

    @tries(FEW, MANY)
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

    @tries(FEW, MANY)
    @given(body=bent(good), inches=st.booleans())
    def answers(body: Any, inches: bool) -> None:
        caches[setting("CACHE")].clear()  # or tries with a claim code are used up soon
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
