"""`/.well-known/security.txt` by RFC 9116, as the stand-alone service has it."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from pinpool.apps import check_security_contact

ADDRESS = "/.well-known/security.txt"


def test_whom_to_tell_and_until_when(api: APIClient, settings: Any) -> None:
    told = {"SECURITY_CONTACT": "mailto:keeper@creek.example", "SECURITY_POLICY": "https://creek.example/policy"}
    settings.PINPOOL = settings.PINPOOL | told
    response = api.get(ADDRESS)
    assert (response.status_code, response["Content-Type"]) == (200, "text/plain; charset=utf-8")
    fields = dict(line.split(": ", 1) for line in response.content.decode().splitlines())
    assert fields.keys() == {"Contact", "Expires", "Policy"}
    assert (fields["Contact"], fields["Policy"]) == tuple(told.values())
    ahead = datetime.fromisoformat(fields["Expires"]) - datetime.now(UTC)
    assert timedelta(days=170) < ahead < timedelta(days=365)  # RFC 9116, 2.5.5: less than a year


def test_without_a_contact_there_is_no_such_file(api: APIClient) -> None:
    assert api.get(ADDRESS).status_code == 404


@pytest.mark.parametrize(("name", "value", "found"), [
    ("SECURITY_CONTACT", "https://creek.example/tell", 0), ("SECURITY_CONTACT", "", 0),
    ("SECURITY_CONTACT", "keeper@creek.example", 1), ("SECURITY_POLICY", "mailto:keeper@creek.example", 1),
    ("SECURITY_CONTACT", "mailto:keeper@creek.example\nPolicy: https://elsewhere.example", 1),
])  # fmt: skip
def test_what_no_program_could_follow_is_refused_at_the_start(settings: Any, name: str, value: str, found: int) -> None:
    settings.PINPOOL = {name: value}
    assert [each.id for each in check_security_contact(None)] == ["pinpool.E003"] * found
