"""For pytest inside the host site: calls of Pinpool's own tests go below where the site mounts it."""

from collections.abc import Iterator
from typing import Any
from unittest.mock import patch

import pytest
from django.test import RequestFactory

MOUNTED = "/pinhole"
_plain = RequestFactory.generic


def _below(self: Any, method: str, path: str, *args: Any, **more: Any) -> Any:
    return _plain(self, method, MOUNTED + path if path.startswith("/api/v1/") else path, *args, **more)


@pytest.fixture(autouse=True)
def below(db: None) -> Iterator[None]:
    """Every client finds Pinpool below `/pinhole/`; the site opens a transaction for each request, optics' too."""
    with patch.object(RequestFactory, "generic", _below):
        yield
