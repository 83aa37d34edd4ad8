"""The field page, its worker and its manifest as the server gives them; what they do is tried in a browser."""

import json
from typing import Any

import pytest
from django.contrib.staticfiles import finders
from django.test import Client
from django.urls import clear_script_prefix, reverse, set_script_prefix

from exposures.web import field
from tests.factories import MembershipFactory

pytestmark = pytest.mark.django_db


def test_the_page_is_the_same_for_everybody(client: Client) -> None:
    """But for the token against forged requests: it is kept on phones that several people may use."""
    member = MembershipFactory.create()
    stranger = client.get(reverse("field_web:page"))
    client.force_login(member.user)
    known = client.get(reverse("field_web:page"))
    assert stranger.status_code == known.status_code == 200
    assert member.user.username not in known.content.decode()
    assert member.club.slug not in known.content.decode()


def test_the_worker_names_every_file_and_stands_above_its_page(client: Client) -> None:
    response = client.get(reverse("field_web:worker"))
    text = response.content.decode()
    assert response["Content-Type"] == "text/javascript"
    assert response["Cache-Control"] == "no-cache"
    assert "connect-src 'self'" in response["Content-Security-Policy"]
    assert json.dumps(reverse("field_web:page")) in text
    for name in field.FILES:
        assert finders.find(name), name
        assert f"/static/{name}" in text
    assert reverse("field_web:worker").startswith(reverse("field_web:page"))


def test_the_version_changes_with_any_file(monkeypatch: pytest.MonkeyPatch, tmp_path: Any) -> None:
    before = field.version()
    assert before == field.version()
    other = tmp_path / "page.js"
    other.write_text("changed")
    find = finders.find
    monkeypatch.setattr(finders, "find", lambda name: str(other) if name == "exposures/field/page.js" else find(name))
    assert field.version() != before


def test_the_version_changes_with_a_setting_that_shows(settings: Any) -> None:
    before = field.version()
    settings.PINPOOL = {**getattr(settings, "PINPOOL", {}), "SIGN_IN_PAGE": "/elsewhere/"}
    assert field.version() != before


def test_the_manifest_stays_inside_the_page(client: Client) -> None:
    told = client.get(reverse("field_web:manifest")).json()
    assert told["start_url"] == told["scope"] == reverse("field_web:page")
    assert told["icons"][0]["src"].endswith(".svg")


def test_it_may_be_mounted_below_a_prefix(client: Client) -> None:
    set_script_prefix("/pinhole/")
    try:
        text = client.get("/field/sw.js").content.decode()
    finally:
        clear_script_prefix()
    assert 'const PAGE = "/pinhole/field/";' in text
