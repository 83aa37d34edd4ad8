"""The script that other sites load, the public pages, and the keeper's switches as a page."""

import base64
import hashlib
import json
import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from exposures.embed.models import Embedding
from exposures.embed.script import VERSIONS, script
from tests.factories import AccountFactory, CameraSpecFactory, MembershipFactory, PaperFactory

pytestmark = pytest.mark.django_db

HOSTILE = "</textarea><script>alert(1)</script>"


@pytest.fixture
def keeper() -> Any:
    keeper = MembershipFactory.create(role="keeper", club__slug="saltmarsh")
    CameraSpecFactory.create(camera__club=keeper.club, camera__code="DRUM", camera__name="Biscuit drum")
    PaperFactory.create(club=keeper.club, name="Glasswort")
    return keeper


def switch_all_on(club: Any) -> Embedding:
    embedding = Embedding.objects.create(club=club, registry=True, origins=["https://walkers.example"])
    embedding.cameras.set(club.cameras.all())
    embedding.papers.set(club.papers.all())
    return embedding


def public(club: Any) -> list[str]:
    named = [club.slug]
    return [
        reverse("embed_web:club", args=named),
        reverse("embed_web:cameras", args=named),
        reverse("embed_web:camera", args=[*named, "DRUM"]),
        reverse("embed_web:paper", args=[*named, club.papers.get().pk]),
    ]


@pytest.mark.parametrize("version", VERSIONS)
def test_the_script_is_the_bytes_of_its_digest(client: Client, version: str) -> None:
    at = reverse("embed_web:script", args=[version])
    answer = client.get(at, HTTP_ORIGIN="https://anywhere.example")
    digest = base64.b64encode(hashlib.sha384(answer.content).digest()).decode()
    assert script(version).integrity == f"sha384-{digest}"
    assert answer["Content-Type"] == "text/javascript; charset=utf-8"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Access-Control-Allow-Origin"] == "*"
    assert "Access-Control-Allow-Credentials" not in answer
    assert "Vary" not in answer or "Cookie" not in answer["Vary"]
    again = client.get(at, HTTP_IF_NONE_MATCH=answer["ETag"])
    assert (again.status_code, again.content, again["Access-Control-Allow-Origin"]) == (304, b"", "*")
    assert client.head(at)["ETag"] == answer["ETag"]


def test_the_script_stands_alone_and_turns_no_text_into_elements() -> None:
    """Its digest would not cover what it imports, and a host page's policy may forbid the rest."""
    text = script().content.decode()
    assert not re.search(r"^\s*import\b(?!\.meta)|\bimport\(|^\s*export\b", text, re.MULTILINE)
    for sink in ("innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval(", "Function(", "DOMParser",
                 ".style", "<style"):  # fmt: skip
        assert sink not in text


def test_what_other_sites_write_goes_on_being_understood() -> None:
    """The elements, their attributes and the properties that `v1.js` tells at its head: more may come, none may go."""
    text = script("v1").content.decode()
    promise, code = text.split("\n\n", 1)
    [attributes] = re.findall(r"static observedAttributes = (\[.*\])", code)
    assert {"club", "camera", "paper", "lengths", "server"} <= set(json.loads(attributes))
    [parts] = re.findall(r"^const parts = \{(.*)\}$", code, re.MULTILINE)
    assert {"camera", "exposure", "curve", "registry"} <= set(re.findall(r"(\w+):", parts))
    properties = {"--pinpool-accent", "--pinpool-line", "--pinpool-field", "--pinpool-radius", "--pinpool-gap"}
    assert properties <= set(re.findall(r"var\((--pinpool-\w+),", code))
    assert all(name.removeprefix("--pinpool") in promise for name in properties)


def test_there_is_no_other_script(client: Client) -> None:
    for name in ("v0.js", "v1", "v11.js", "ticked.js", "..%2Fticked.js"):
        assert client.get(f"/embed/{name}").status_code == 404


def test_public_pages_are_there_once_switched_on(client: Client, keeper: Any) -> None:
    nowhere = client.get("/embed/no-such-club/")
    for at in public(keeper.club):
        assert client.get(at).status_code == 404
    switch_all_on(keeper.club)
    assert nowhere.status_code == 404
    for at in public(keeper.club):
        page = client.get(at)
        assert page.status_code == 200
        assert "script-src 'self'" in page["Content-Security-Policy"]


def test_nobodys_name_stands_on_a_public_page(client: Client, keeper: Any) -> None:
    switch_all_on(keeper.club)
    camera = keeper.club.cameras.get()
    camera.owner, camera.note = AccountFactory.create(username="nils-the-owner"), "a note on the lid"
    camera.name = HOSTILE
    camera.save()
    for at in public(keeper.club):
        text = client.get(at).content.decode()
        assert "nils-the-owner" not in text
        assert "a note on the lid" not in text
        assert HOSTILE not in text


def test_only_keepers_switch(client: Client, keeper: Any) -> None:
    at = reverse("embed_web:switches", args=["saltmarsh"])
    assert client.get(at).status_code == 302
    client.force_login(MembershipFactory.create(club=keeper.club, role="leader").user)
    assert client.get(at).status_code == 403
    assert at not in client.get("/clubs/saltmarsh/").content.decode()
    client.force_login(keeper.user)
    assert client.get(at).status_code == 200
    assert at in client.get("/clubs/saltmarsh/").content.decode()


def test_what_is_to_be_copied_is_sound(client: Client, keeper: Any) -> None:
    switch_all_on(keeper.club)
    keeper.club.cameras.update(name=HOSTILE)
    client.force_login(keeper.user)
    text = client.get(reverse("embed_web:switches", args=["saltmarsh"])).content.decode()
    assert HOSTILE not in text
    assert f'integrity="{script().integrity}" crossorigin="anonymous"' in text.replace("&quot;", '"')
    assert "https://walkers.example</textarea>" in text
    # Escaped once as the snippet, which is text to be copied, and once more as the page's.
    assert "&amp;lt;script&amp;gt;" in text
