"""An account with a password, a client that is signed in to it, and plug-ins loaded beside our own."""

import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from typing import Any

import pytest
from rest_framework.test import APIClient

from pinpool.plugins import registry
from pinpool.plugins.loading import Entry, find, load_all
from tests.accounts import PASSWORD, session_of
from tests.factories import AccountFactory
from tests.guests import Fake


@pytest.fixture
def walker(db: None) -> Any:
    user = AccountFactory.create(username="walker", email="walker@creek.example")
    user.set_password(PASSWORD)
    user.save()
    return user


@pytest.fixture
def signed_in(walker: Any) -> APIClient:
    """A client with a session of its own."""
    return session_of("walker", PASSWORD)


@pytest.fixture
def install() -> Iterator[Callable[..., Entry]]:
    """`install(made, …)`: load these beside our own plug-ins; gives the last one's entry."""
    with ExitStack() as stack:

        def installed(*made: Any) -> Entry:
            entries = load_all([*find(), *(each if isinstance(each, Fake) else Fake(each) for each in made)])  # type: ignore[list-item]
            stack.enter_context(registry.trying(entries))
            return entries[-1]

        yield installed


@pytest.fixture
def impatient(settings: Any) -> None:
    settings.PINPOOL = {"PLUGIN_SECONDS": 0.2, "PLUGIN_IMPORT_SECONDS": 1.0}


@pytest.fixture
def door() -> Iterator[threading.Event]:
    """What a plug-in that hangs waits for."""
    event = threading.Event()
    yield event
    event.set()
