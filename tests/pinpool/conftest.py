"""An account with a password, and a client that is signed in to it."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from tests.accounts import PASSWORD, session_of
from tests.factories import AccountFactory


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
