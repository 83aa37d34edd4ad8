"""Problem documents (RFC 9457): one shape for every refusal, whatever refused and whatever was asked for."""

from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, TooManyFieldsSent
from django.http import Http404
from django.test import Client
from rest_framework import exceptions
from rest_framework.exceptions import ErrorDetail
from rest_framework.test import APIClient

from pinpool.http.problems import (
    Conflict,
    PluginFailed,
    faults_of,
    handle_exception,
    impossible,
    problem_body,
    refuse_unknown,
)
from tests.problems import problem_of

LIGHT = "/api/v1/optics/light/"


def fault(text: str = "no", code: str = "bad") -> ErrorDetail:
    return ErrorDetail(text, code)


# ------------------------------------------------------------------------------------------------ the document


def test_members_of_a_problem() -> None:
    """The five members of RFC 9457 that we use; `errors` is our extension and left out where there are none."""
    body = problem_body(404, "Not there.")
    assert body == {
        "type": "urn:pinpool:problem:not_found",
        "title": "There is nothing here, or nothing you may see",
        "status": 404,
        "detail": "Not there.",
    }
    assert problem_body(400, "One.", [{"pointer": "/a", "code": "b", "detail": "One."}])["errors"][0]["pointer"] == "/a"
    assert problem_body(418, "Tea.")["type"] == "urn:pinpool:problem:error"


@pytest.mark.parametrize(
    ("detail", "expected"),
    [
        ([fault()], [("", "bad")]),
        ({"width": [fault()]}, [("/width", "bad")]),
        ({"width": [fault(code="a"), fault(code="b")]}, [("/width", "a"), ("/width", "b")]),
        ({"film_plane": {"width": [fault()]}}, [("/film_plane/width", "bad")]),
        ({"readings": {1: {"span": [fault()]}}}, [("/readings/1/span", "bad")]),
        ({"readings": [{}, {"span": [fault()]}]}, [("/readings/1/span", "bad")]),
        ({"points": {0: {1: [fault()]}}}, [("/points/0/1", "bad")]),
        ({"non_field_errors": [fault()]}, [("", "bad")]),
        ({"hole": {"non_field_errors": [fault()]}}, [("/hole", "bad")]),
        ({"a/b": [fault()], "c~d": [fault()]}, [("/a~1b", "bad"), ("/c~0d", "bad")]),  # RFC 6901 §3
        ({"": [fault()]}, [("/", "bad")]),
    ],
)
def test_pointers(detail: Any, expected: list[tuple[str, str]]) -> None:
    assert [(pointer, each.code) for pointer, each in faults_of(detail)] == expected


@pytest.mark.parametrize(
    ("raised", "status", "slug"),
    [
        (exceptions.ValidationError({"a": [fault()]}), 400, "invalid_input"),
        (exceptions.ValidationError({"a": [impossible("no", "bad")]}), 422, "impossible"),
        (exceptions.ValidationError({"a": [impossible("no", "bad")], "b": [fault()]}), 400, "invalid_input"),
        (exceptions.ParseError("what"), 400, "invalid_input"),
        (TooManyFieldsSent("many"), 400, "invalid_input"),
        (exceptions.NotAuthenticated(), 401, "not_signed_in"),
        (exceptions.PermissionDenied("no"), 403, "not_allowed"),
        (PermissionDenied("no"), 403, "not_allowed"),
        (Http404(), 404, "not_found"),
        (exceptions.MethodNotAllowed("PUT"), 405, "method_not_allowed"),
        (exceptions.NotAcceptable(), 406, "not_acceptable"),
        (Conflict("taken"), 409, "conflict"),
        (exceptions.UnsupportedMediaType("a/b"), 415, "unsupported_media_type"),
        (exceptions.Throttled(wait=3), 429, "too_many_requests"),
        (PluginFailed("it"), 502, "plugin_failed"),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, Exception) else str(value),
)
def test_what_is_raised_becomes_a_problem(raised: Exception, status: int, slug: str) -> None:
    response = handle_exception(raised, {})
    assert response is not None
    assert response["Content-Type"] == "application/problem+json"
    body = problem_of(response, status)
    assert body["type"] == f"urn:pinpool:problem:{slug}"


def test_one_fault_is_the_detail_and_several_are_counted() -> None:
    one = handle_exception(exceptions.ValidationError({"a": [fault("Too long.")]}), {})
    two = handle_exception(exceptions.ValidationError({"a": [fault("Too long.")], "b": [fault()]}), {})
    assert problem_of(one, 400)["detail"] == "Too long."
    assert problem_of(two, 400)["detail"] == "2 faults; see errors."


def test_what_is_no_refusal_is_not_hidden() -> None:
    assert handle_exception(ZeroDivisionError(), {}) is None


def test_headers_of_refusals() -> None:
    waiting = handle_exception(exceptions.Throttled(wait=3.2), {})
    assert waiting is not None
    assert waiting["Retry-After"] == "4"


def test_a_name_unknown_in_a_body_is_a_fault_of_its_field() -> None:
    with pytest.raises(exceptions.ValidationError) as caught, refuse_unknown("paper", "There is none."):
        raise Http404
    response = handle_exception(caught.value, {})
    assert problem_of(response, 422)["errors"] == [
        {"pointer": "/paper", "code": "unknown_paper", "detail": "There is none."}
    ]


# ------------------------------------------------------------------------------------------------- over HTTP


@pytest.mark.parametrize("method", ["get", "put", "patch", "delete", "trace"])
def test_405_names_what_the_address_takes(api: APIClient, method: str) -> None:
    response = getattr(api, method)(LIGHT)
    assert problem_of(response, 405)["type"] == "urn:pinpool:problem:method_not_allowed"
    assert "POST" in response["Allow"]


@pytest.mark.parametrize("accepted", ["text/html", "image/png", "application/problem+json", ";;;", "a/b/c"])
def test_406_is_a_problem_all_the_same(accepted: str) -> None:
    problem_of(APIClient(HTTP_ACCEPT=accepted).post(LIGHT, {"reading": {"ev": 12}}, format="json"), 406)


@pytest.mark.parametrize("method", ["get", "post", "put", "delete"])
@pytest.mark.parametrize(
    "path", ["", "optics/", "optics/light", "optics/sunshine/", "clubs", "plugins/x/", "%ff/", "a%0Ab/", "%00/"]
)
def test_unknown_addresses(method: str, path: str) -> None:
    """404 also where cross-site checks are on and no cookie was sent."""
    client = Client(enforce_csrf_checks=True)
    detail = problem_of(getattr(client, method)("/api/v1/" + path), 404)["detail"]
    assert ("addresses here end in a slash" in detail) is (path in {"optics/light", "clubs"})


def test_other_renderers_do_not_render_problems(api: APIClient) -> None:
    problem_of(api.post("/api/v1/schema/"), 405)
    problem_of(APIClient(HTTP_ACCEPT="image/png").get("/api/v1/schema/"), 406)


def test_a_host_not_served_here(api: APIClient) -> None:
    problem_of(api.get("/api/v1/plugins/", HTTP_HOST="elsewhere.example"), 400)


def test_too_many_query_names(api: APIClient) -> None:
    problem_of(api.get("/api/v1/plugins/?" + "&".join(f"a{i}=1" for i in range(2000))), 400)


def test_a_fault_of_our_own_says_so_and_no_more(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(**_values: Any) -> None:
        raise ZeroDivisionError("secret detail")

    monkeypatch.setattr("optics.views.LightView.compute", broken)
    client = APIClient(raise_request_exception=False)
    response = client.post(LIGHT, {"reading": {"ev": 12}}, format="json")
    assert "secret" not in problem_of(response, 500)["detail"]


def test_a_session_without_its_token_is_refused_before_anything_else(db: None, django_user_model: Any) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(django_user_model.objects.create(username="walker"))
    response = client.post("/api/v1/clubs/", b'{"slug": "creek", "name": "Creek"}', content_type="application/json")
    assert "CSRF" in problem_of(response, 403)["detail"]
