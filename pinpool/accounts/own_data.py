"""What is kept of a person, app by app: handed out on request, and let go of when the account is deleted.

Each app contributes its parts from `AppConfig.ready`.
"""

from collections.abc import Callable
from typing import Any

from pinpool.accounts.account import Account
from pinpool.accounts.serializers import AccountOut, TokenOut
from pinpool.models import ApiToken
from pinpool.plugins.keeping import watched

_parts: dict[str, Callable[[Any], list[Any]]] = watched({})
_farewells: dict[str, Callable[[Any], None]] = watched({})


def contribute(
    name: str, data: Callable[[Any], list[Any]], *, before_deletion: Callable[[Any], None] | None = None
) -> None:
    """Add a part: `data(user)` lists what is kept of an account, ready for JSON.

    `before_deletion(user)` runs inside the transaction that deletes the account, before its row goes; a refusal that it
    raises keeps the account.
    """
    _parts[name] = data
    if before_deletion is not None:
        _farewells[name] = before_deletion


def own_data(user: Any) -> dict[str, list[Any]]:
    """Everything that is kept of an account, by the names of the parts."""
    return {name: data(user) for name, data in _parts.items()}


def prepare_deletion(user: Any) -> None:
    """Let every app part with the account, in the order in which the apps came."""
    for farewell in _farewells.values():
        farewell(user)


def account_of(user: Any) -> list[Any]:
    """The account itself."""
    return [AccountOut(Account.of(user)).data]


def tokens_of(user: Any) -> list[Any]:
    """API tokens, without what would let anybody use them."""
    return list(TokenOut(ApiToken.objects.filter(user=user).order_by("pk"), many=True).data)
