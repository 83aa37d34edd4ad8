"""Each request has an id, which its answer, its problem document and its lines of log carry."""

import json
import logging
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import Client
from django.utils.log import log_response
from rest_framework.test import APIClient

from pinpool.http.request_ids import HEADER, current
from pinpool.service.logs import JSONLines
from tests.problems import problem_of


def test_a_refusal_carries_the_id_of_its_answer(api: APIClient) -> None:
    ids = set()
    for _ in range(2):
        response = api.get("/api/v1/clubs/")
        ids |= {response[HEADER], problem_of(response, 401)["request_id"]}
    assert len(ids) == 2
    assert current() == ""


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["/nowhere/", "/clubs/join/ACDE347HJK/"])
def test_a_page_that_refuses_shows_the_id_of_its_answer(client: Client, path: str) -> None:
    response = client.get(path)
    assert f"<code>{response[HEADER]}</code>" in response.content.decode()


@pytest.mark.parametrize(("proxies", "given", "kept"), [
    (1, "edge-0123.456", True), (0, "edge-0123.456", False), (1, "short", False), (1, 'a"b c' * 3, False),
    (1, "x" * 65, False),
])  # fmt: skip
def test_an_id_is_kept_only_from_a_proxy_and_only_if_it_is_one(
    api: APIClient, settings: Any, proxies: int, given: str, kept: bool
) -> None:
    settings.PINPOOL = {"TRUSTED_PROXIES": proxies}
    found = api.get("/api/v1/plugins/", headers={HEADER: given})[HEADER]
    assert (found == given) is kept
    assert kept or len(found) == 32


def test_a_line_of_log_says_what_was_asked_and_answered(api: APIClient, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.INFO, logger="pinpool.access"):
        response = api.get("/api/v1/clubs/?page_size=3")
    [record] = [record for record in caplog.records if record.name == "pinpool.access"]
    line = json.loads(JSONLines().format(record))
    assert line.keys() == {"time", "level", "logger", "message", "status", "milliseconds", "request_id"}
    assert (line["message"], line["status"]) == ("GET /api/v1/clubs/ 401", 401)  # and nothing of the query
    assert line["request_id"] == response[HEADER]


def test_a_host_that_is_not_ours_is_one_short_warning(client: Client, caplog: pytest.LogCaptureFixture) -> None:
    assert client.get("/", headers={"Host": f"{'evil.' * 100}example"}).status_code == 400
    [line] = [json.loads(JSONLines().format(record)) for record in caplog.records if record.levelno > logging.INFO]
    assert (line["level"], line["logger"]) == ("warning", "django.security.DisallowedHost")
    assert line["message"].startswith("Invalid HTTP_HOST header: 'evil.evil.")
    assert len(line["message"]) <= 200
    assert "exception" not in line


def test_a_line_is_one_line_whatever_it_tells() -> None:
    fault = ValueError("two\nlines")
    told = (type(fault), fault, None)
    record = logging.LogRecord("x", logging.ERROR, "", 1, "said “%s”", ("a\nb",), told)
    record.thing = object()
    line = JSONLines().format(record)
    assert "\n" not in line
    assert json.loads(line)["message"] == "said “a\nb”"
    assert json.loads(line)["exception"].endswith("ValueError: two\nlines")


@pytest.mark.parametrize(("path", "told"), [
    ("/place/ACDEFGHJKMNPQR/", "/place/…/"),
    ("/api/v1/places/ACDEFGHJKMNPQR/exposures/", "/api/v1/places/…/exposures/"),
    ("/api/v1/invitations/ACDEFGHJKMNP/", "/api/v1/invitations/…/"),
    ("/clubs/join/ACDEFGHJKMNP/", "/clubs/join/…/"),
    ("/reset/MQ.abc-def/", "/reset/…/"),
    ("/reset/", "/reset/"),
    ("/clubs/join/ACDEFGHJKMNP", "/clubs/…"),  # no route takes these: the end of the last may be a code
    ("/api/v1/places/ACDEFGHJKMNPQR", "/api/v1/places/…"),
    ("/health/", "/health/"),
    ("/api/v1/plugins/", "/api/v1/plugins/"),
    ("/static/pinpool/pinpool.css", "/static/pinpool/pinpool.css"),
])  # fmt: skip
@pytest.mark.django_db
def test_no_code_that_opens_something_is_logged(
    client: Any, caplog: pytest.LogCaptureFixture, path: str, told: str
) -> None:
    with caplog.at_level(logging.INFO, logger="pinpool.access"):
        response = client.get(path)
        response.close()
        log_response(
            "%s: %s", "Something broke", path, response=HttpResponse(status=500), request=response.wsgi_request
        )
    lines = [json.loads(JSONLines().format(record))["message"] for record in caplog.records]
    assert lines == [f"GET {told} {response.status_code}", f"Something broke: {told}"]
