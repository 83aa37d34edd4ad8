"""Strong entity tags: what a caller already has is not sent again (RFC 9110 §8.8.3, §13.1.2)."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from pinpool.http.etags import tag_of
from tests.factories import CameraSpecFactory, MembershipFactory


@pytest.fixture
def camera(as_user: Any) -> tuple[APIClient, str]:
    """A member's client and the address of a camera of their club."""
    member = MembershipFactory.create()
    spec = CameraSpecFactory.create(camera__club=member.club)
    return as_user(member.user), f"/api/v1/clubs/{member.club.slug}/cameras/{spec.camera.code}/"


def test_the_tag_is_strong_and_made_of_the_revision() -> None:
    assert tag_of(7) == '"r7"'


def test_a_stored_object_carries_its_tag(camera: tuple[APIClient, str]) -> None:
    client, address = camera
    assert client.get(address)["ETag"] == '"r1"'


@pytest.mark.parametrize("known", ['"r1"', 'W/"r1"', '"r0", "r1"', '"r0",W/"r1"', "*"])
def test_what_the_caller_has_is_not_sent_again(camera: tuple[APIClient, str], known: str) -> None:
    """A weakened tag counts too: a proxy that compresses weakens what it passes on."""
    client, address = camera
    response = client.get(address, HTTP_IF_NONE_MATCH=known)
    assert (response.status_code, response.content, response["ETag"]) == (304, b"", '"r1"')


@pytest.mark.parametrize("known", ["", '"r2"', "r1", '"r11"', '"R1"', ",,,", "W/"])
def test_another_tag_is_answered_in_full(camera: tuple[APIClient, str], known: str) -> None:
    client, address = camera
    response = client.get(address, HTTP_IF_NONE_MATCH=known)
    assert response.status_code == 200
    assert response.json()["revision"] == 1


def test_head_is_get_without_a_body(camera: tuple[APIClient, str]) -> None:
    client, address = camera
    response = client.head(address)
    assert (response.status_code, response.content, response["ETag"]) == (200, b"", '"r1"')
    assert client.head(address, HTTP_IF_NONE_MATCH='"r1"').status_code == 304


def test_a_change_changes_the_tag(camera: tuple[APIClient, str]) -> None:
    client, address = camera
    spec = {
        "film_plane": {"kind": "flat", "width": "90 mm", "height": "120 mm", "distance": "61 mm"},
        "hole": {"diameter": "0.3 mm"},
        "reason": "measured again",
    }
    before = client.get(address)
    # Only its owner or a keeper may say so; the factory's cameras are the club's own.
    made = client.post(address + "specs/", spec)
    assert (made.status_code, made["ETag"]) == (201, '"r2"')
    after = client.get(address, HTTP_IF_NONE_MATCH=before["ETag"])
    assert after.status_code == 200
    assert after["ETag"] == '"r2"'
    assert after.json()["spec"]["number"] == 2


def test_a_new_object_carries_its_tag_whatever_the_caller_knows(as_user: Any) -> None:
    response = as_user().post("/api/v1/clubs/", {"slug": "creek", "name": "Creek"}, HTTP_IF_NONE_MATCH="*")
    assert (response.status_code, response["ETag"]) == (201, '"r1"')
