"""What can be done to an account: made, signed in to, changed, recovered, deleted, and given API tokens."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

from django.contrib.auth import authenticate, get_user_model
from django.contrib.auth.password_validation import validate_password
from django.contrib.auth.tokens import default_token_generator
from django.core.exceptions import ValidationError as Invalid
from django.db import IntegrityError, transaction
from django.db.models import ProtectedError, RestrictedError
from django.utils import timezone
from django.utils.http import urlsafe_base64_decode
from rest_framework.exceptions import AuthenticationFailed, ErrorDetail, NotAuthenticated, ValidationError

from pinpool.accounts.account import Account
from pinpool.accounts.own_data import prepare_deletion
from pinpool.accounts.throttles import counted
from pinpool.conf import setting
from pinpool.http.etags import Expected
from pinpool.http.problems import Conflict, impossible
from pinpool.models import ApiToken

# ---------------------------------------------------------------------------------------------------- signing in


def log_in(*, request: Any, username: str, password: str, address: str) -> Any:
    """The account, if this is its password; `request` is Django's, for those backends that look at it.

    An unknown name is told from a wrong password neither by words nor by time: Django hashes once in both cases.
    """
    with counted(LOGIN_TRIES_PER_ADDRESS=address, LOGIN_TRIES_PER_ACCOUNT=_folded(username)):
        user = authenticate(request, username=username, password=password)
        if user is None:
            raise AuthenticationFailed("There is no account of this name with this password.")
    return user


def check_own_password(*, user: Any, password: str) -> None:
    """Raise where this is not the password of an account that is signed in; counted like signing in."""
    with counted(LOGIN_TRIES_PER_ACCOUNT=_folded(user.get_username())):
        if not user.check_password(password):
            raise ValidationError({"password": [impossible("This is not the account's password.", "wrong_password")]})


def _folded(username: str) -> str:
    return get_user_model().normalize_username(username).casefold()


# ----------------------------------------------------------------------------------------------------- accounts


def sign_up(*, username: str, email: str, password: str) -> Any:
    """A new account; faults of name and password are told together. Call inside the transaction of its reason."""
    if not setting("OWN_ACCOUNTS"):
        raise NotAuthenticated("Accounts are made elsewhere on this site; sign in, and come back with the code.")
    users = get_user_model()
    username = users.normalize_username(username)
    facts = {users.get_email_field_name(): email, users.USERNAME_FIELD: username}
    field: Any = users._meta.get_field(users.USERNAME_FIELD)
    faults = {
        "username": _faults(lambda: field.clean(username, None)),
        "password": _faults(lambda: validate_password(password, users(**facts))),
    }
    if users._default_manager.filter(**{f"{users.USERNAME_FIELD}__iexact": username}).exists():
        faults["username"].append(impossible("This name is taken; choose another.", "taken"))
    if any(faults.values()):
        raise ValidationError({name: found for name, found in faults.items() if found})
    user = users(**facts)
    user.set_password(password)
    try:
        with transaction.atomic():
            user.save(force_insert=True)
    except IntegrityError:
        raise Conflict("This name has just been taken; choose another.") from None
    return user


def change_email(*, user: Any, email: str, password: str, expected: Expected) -> Account:
    """Give the account another address; its password is asked for, because e-mail can set a new one."""
    check_own_password(user=user, password=password)
    with _locked(user) as mine:
        expected.check(Account.of(mine).revision)
        setattr(mine, mine.get_email_field_name(), email)
        mine.save(update_fields=[mine.get_email_field_name()])
    return Account.of(mine)


def change_password(*, user: Any, password: str, new_password: str) -> Any:
    """Set another password; returns the account as it is now. Every other session ends, API tokens go on."""
    check_own_password(user=user, password=password)
    with _locked(user) as mine:
        _set_password(mine, new_password)
    return mine


def reset_password(*, code: str, new_password: str, address: str) -> None:
    """Set a new password by a code from an e-mail. Every session ends, and API tokens are withdrawn.

    Whoever had the old password may have issued some.
    """
    with counted(RESET_TRIES_PER_ADDRESS=address), transaction.atomic():
        uid, _, token = code.partition(".")
        user = get_user_model()._default_manager.select_for_update().filter(pk=_pk(uid), is_active=True).first()
        if user is None or not default_token_generator.check_token(user, token):
            text = "This code is wrong, used up or too old; ask for another."
            raise ValidationError({"code": [impossible(text, "unknown_code")]})
        _set_password(user, new_password)
        ApiToken.objects.filter(user=user).delete()


def delete_account(*, user: Any, password: str) -> None:
    """Delete one's own account for good, by its password."""
    check_own_password(user=user, password=password)
    remove_account(user=user)


def remove_account(*, user: Any) -> None:
    """Delete an account for good. What others rest on stays without its name, as each app sees to."""
    with _locked(user) as mine:
        prepare_deletion(mine)
        try:
            mine.delete()
        except (ProtectedError, RestrictedError):
            text = "Something else on this site needs this account; ask those who run the site to delete it."
            raise Conflict(text) from None


@contextmanager
def _locked(user: Any) -> Iterator[Any]:
    """The account's row as it is now, in a transaction that holds it."""
    with transaction.atomic():
        found = get_user_model()._default_manager.select_for_update().filter(pk=user.pk).first()
        if found is None:
            raise AuthenticationFailed("This account has just been deleted.")
        yield found


def _set_password(user: Any, password: str) -> None:
    if faults := _faults(lambda: validate_password(password, user)):
        raise ValidationError({"new_password": faults})
    user.set_password(password)
    user.save(update_fields=["password"])


def _faults(check: Any) -> list[ErrorDetail]:
    """What Django's validators have against a value."""
    try:
        check()
    except Invalid as found:
        return [ErrorDetail(" ".join(fault.messages), fault.code or "invalid") for fault in found.error_list]
    return []


def _pk(uid: str) -> Any:
    """The primary key in a code, or None where there can be none."""
    try:
        return get_user_model()._meta.pk.to_python(urlsafe_base64_decode(uid).decode())
    except (ValueError, Invalid):
        return None


# ------------------------------------------------------------------------------------------------------- tokens


def issue_token(*, user: Any, by: ApiToken | None, name: str, scope: str, days: int) -> tuple[ApiToken, str]:
    """A new API token and its secret. Where a token asks (`by`), the new one cannot outlast it."""
    ends = timezone.now() + timedelta(days=days)
    if by is not None and by.expires_at is not None and ends > by.expires_at:
        text = f"A token cannot issue one that outlasts it; it ends on {by.expires_at:%Y-%m-%d}."
        raise ValidationError({"days": [impossible(text, "outlasts_its_issuer")]})
    with _locked(user) as mine:
        if ApiToken.objects.filter(user=mine).count() >= setting("MAX_TOKENS"):
            raise Conflict(f"An account may have {setting('MAX_TOKENS')} tokens; withdraw one first.")
        return ApiToken.issue(user=mine, name=name, scope=scope, expires_at=ends)
