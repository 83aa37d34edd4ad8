"""The OpenAPI document that is committed is the one the service makes, and says of every call what it needs to."""

from pathlib import Path
from typing import Any

import orjson
import pytest
import yaml
from django.core.management import call_command
from rest_framework.test import APIClient

from pinpool.http.schema import OCTETS
from pinpool.openapi import document
from pinpool.units import KINDS

ROOT = Path(__file__).parents[2]
COMMITTED = ROOT / "fixtures/openapi.yaml"
RENEW = (
    "python manage.py spectacular --validate --fail-on-warn --file fixtures/openapi.yaml "
    "--custom-settings pinpool.openapi.SETTINGS"
)


@pytest.fixture(scope="module")
def made() -> dict[str, Any]:
    return document()


def calls(made: dict[str, Any]) -> list[tuple[str, str, dict[str, Any]]]:
    return [(path, method, call) for path, methods in made["paths"].items() for method, call in methods.items()]


def test_the_committed_document_is_the_one_made_now(tmp_path: Path) -> None:
    """It also validates, and nothing about it makes the generator warn."""
    fresh = tmp_path / "openapi.yaml"
    call_command(
        "spectacular",
        file=str(fresh),
        validate=True,
        fail_on_warn=True,
        custom_settings="pinpool.openapi.SETTINGS",
    )
    assert fresh.read_text() == COMMITTED.read_text(), (
        f"The API has changed. If that is meant, renew the document and commit it with the change:\n    {RENEW}"
    )


def test_what_is_served_is_the_same_document(api: APIClient) -> None:
    served = api.get("/api/v1/schema/", HTTP_ACCEPT="application/vnd.oai.openapi")
    assert served.status_code == 200
    assert yaml.safe_load(served.content) == yaml.safe_load(COMMITTED.read_text())
    as_json = api.get("/api/v1/schema/", HTTP_ACCEPT="application/json")
    assert orjson.loads(as_json.content) == yaml.safe_load(served.content)
    for each, kind in ((served, "yaml"), (as_json, "json")):
        assert each["Content-Disposition"] == f'inline; filename="Pinpool.{kind}"'
    assert api.get("/api/v1/docs/").status_code == 200


def test_it_is_3_1(made: dict[str, Any]) -> None:
    assert made["openapi"].startswith("3.1")
    assert "nullable" not in COMMITTED.read_text()


def test_a_contributions_defaults_are_told_as_they_are_written(made: dict[str, Any]) -> None:
    schemas = made["components"]["schemas"]
    assert schemas["PowerLawRequest"]["properties"]["from"]["default"] == "1 s"
    assert schemas["EvReadingRequest"]["properties"]["iso"]["default"] == 100


def test_every_call_is_described(made: dict[str, Any]) -> None:
    names = [call["operationId"] for *_, call in calls(made)]
    assert len(set(names)) == len(names)
    for path, method, call in calls(made):
        assert call["description"], (path, method)
        assert "default" in call["responses"], (path, method)
        assert any(status.startswith("2") for status in call["responses"]), (path, method)
        for status, response in call["responses"].items():
            media = set(response["content"])
            files = ({"image/jpeg", OCTETS}, {"application/pdf", OCTETS}, {"image/svg+xml", OCTETS}, {"text/csv"})
            expected = ({"application/json"}, *files) if status.startswith("2") else ({"application/problem+json"},)
            assert media in expected, (path, method, status)
        if method == "post":
            taken = call.get("requestBody", {}).get("content", {})  # none of it: signing out
            assert set(taken) <= {"application/json", "multipart/form-data"}, path
        for parameter in call.get("parameters", []):
            told = parameter.get("description") or parameter["schema"].get("enum")
            assert told or parameter["in"] == "path" or parameter["schema"]["type"] == "boolean", path


def test_clubs_need_an_account_and_optics_does_not(made: dict[str, Any]) -> None:
    """Of what belongs to accounts, only what leads into one is open; what other sites may show knows none."""
    into = {f"/api/v1/accounts/{path}/" for path in ("login", "password-reset", "password-reset/confirm")}
    for path, _, call in calls(made):
        open_to_all = {} in call["security"]
        needed = path.startswith(("/api/v1/clubs/", "/api/v1/accounts/")) and path not in into
        needed |= path == "/api/v1/places/{claim_code}/claim/"  # there a code makes something an account's own
        assert open_to_all is not needed, path
        assert ({"token": []} in call["security"]) is not path.startswith("/api/v1/embed/"), path
        if needed:
            assert "401" in call["responses"], path


def test_quantities_name_the_units_that_will_do(made: dict[str, Any]) -> None:
    """Each kind of quantity that a body takes offers exactly the spellings of `pinpool.units`."""
    schemas = made["components"]["schemas"]
    for kind, facts in KINDS.items():
        taken = schemas.get(kind.title().replace("_", "") + "Request")
        if taken:
            text, pair = taken["oneOf"]
            pair = schemas[pair["$ref"].rsplit("/", 1)[1]]
            assert text["maxLength"] == 64
            assert pair["properties"]["unit"]["enum"] == list(facts.units)


def test_no_value_is_null_twice(made: dict[str, Any]) -> None:
    """A null that fits two branches of a oneOf fits none."""
    for schema in branches(made["components"]["schemas"]):
        options = schema.get("oneOf", [])
        nullable = [
            option for option in options if option in ({"type": "null"}, {}) or "null" in option.get("type", "")
        ]
        assert len(nullable) <= 1, schema
        assert not isinstance(schema.get("type"), list) or len(set(schema["type"])) == len(schema["type"]), schema


def branches(node: Any) -> Any:
    if isinstance(node, dict):
        yield node
        node = list(node.values())
    if isinstance(node, list):
        for each in node:
            yield from branches(each)
