"""For pytest inside the host site: calls of Pinpool's own tests go below where the site mounts it."""

from typing import Any

import pytest
from django.test import RequestFactory

MOUNTED = "/pinhole"
#: What Pinpool's tests ask for by addresses of the stand-alone service.
OURS = ("/api/v1/", "/account/", "/clubs/", "/bench/", "/hole/", "/field/", "/place/", "/join/", "/darkroom/")
_plain = RequestFactory.generic


@pytest.fixture(autouse=True)
def below(monkeypatch: pytest.MonkeyPatch, db: None) -> None:
    """Every client finds Pinpool below `/pinhole/`; the site opens a transaction for each request, optics' too."""

    def generic(self: Any, method: str, path: str, *args: Any, **more: Any) -> Any:
        return _plain(self, method, MOUNTED + path if path.startswith(OURS) else path, *args, **more)

    monkeypatch.setattr(RequestFactory, "generic", generic)
