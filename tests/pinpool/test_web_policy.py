"""Where pages may lead and what they may load, beyond this site."""

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from pinpool.web.pages import content_security_policy


@pytest.mark.parametrize(
    ("onward", "leads_to"),
    [
        ("/field/?kind=ev", "/field/?kind=ev"),
        ("//elsewhere.example/", "/clubs/"),
        ("https://elsewhere.example/", "/clubs/"),
        ("javascript:alert(1)", "/clubs/"),
        # The form fills in keys of its answer, and an account's e-mail may be empty.
        ("/{email}/elsewhere.example/", "/%7Bemail}/elsewhere.example/"),
    ],
)
def test_signing_in_leads_nowhere_outside_this_site(client: Client, onward: str, leads_to: str) -> None:
    page = client.get(reverse("pinpool_web:sign_in"), {"next": onward}).content.decode()
    assert f'data-then="{leads_to}"' in page


def test_files_of_another_host_of_the_site_may_be_loaded_and_kept(settings: Any) -> None:
    settings.STATIC_URL = "https://static.saltmarsh.example/s/"
    policy = content_security_policy()
    for kind in ("script-src", "style-src", "connect-src"):
        assert f"{kind} 'self' https://static.saltmarsh.example;" in policy
    settings.STATIC_URL = "/static/"
    assert "connect-src 'self';" in content_security_policy()


def test_a_site_may_name_what_its_own_frame_loads(settings: Any) -> None:
    settings.PINPOOL = {
        "PAGE_SOURCES": {
            "font-src": ["https://fonts.saltmarsh.example"],
            "style-src": ["'sha256-x'"],
            "frame-ancestors": ["'self'"],
        }
    }
    parts = content_security_policy().split("; ")
    assert "font-src https://fonts.saltmarsh.example" in parts
    assert "style-src 'self' 'sha256-x'" in parts
    assert "frame-ancestors 'self'" in parts
    assert "script-src 'self'" in parts


def test_pages_are_headed_by_the_name_of_the_site(client: Client, settings: Any) -> None:
    settings.PINPOOL = settings.PINPOOL | {"SITE_NAME": "Saltmarsh & friends"}
    assert 'class="name" href="/">Saltmarsh &amp; friends</a>' in client.get("/").content.decode()
