"""`manage.py issuetoken`."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from rest_framework.test import APIClient

from tests.factories import AccountFactory

pytestmark = pytest.mark.django_db


def test_the_token_it_prints_signs_in(api: APIClient) -> None:
    AccountFactory.create(username="reed")
    out = StringIO()
    call_command("issuetoken", "reed", stdout=out)
    secret = out.getvalue().splitlines()[0]
    response = api.get("/api/v1/clubs/", HTTP_AUTHORIZATION=f"Bearer {secret}")
    assert response.status_code == 200


@pytest.mark.parametrize("arguments", [("nobody",), ("reed", "--days=0")])
def test_what_cannot_be_issued_is_refused_in_words(arguments: tuple[str, ...]) -> None:
    AccountFactory.create(username="reed")
    with pytest.raises(CommandError):
        call_command("issuetoken", *arguments)


def test_a_token_for_less_than_all() -> None:
    user = AccountFactory.create(username="ada")
    call_command("issuetoken", "ada", "--scope", "read", stdout=StringIO())
    assert user.pinpool_tokens.get().scope == "read"
    with pytest.raises(CommandError, match="invalid choice"):
        call_command("issuetoken", "ada", "--scope", "all")
