"""Deep runs say their seed at the top."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.core.signals import request_finished, request_started
from django.db import close_old_connections

from tests.clubs.test_api import Here
from tests.fuzz import effort


def pytest_report_header() -> str | None:
    return f"fuzz: deep, PINPOOL_FUZZ_SEED={effort.SEED}" if effort.DEEP else None


@pytest.fixture
def here(as_user: Any) -> Here:
    return Here(as_user)


@pytest.fixture
def one_connection(here: Here) -> Iterator[None]:
    """The test's transaction outlives each request, as with Django's own client, whose use in `here` comes first."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)
