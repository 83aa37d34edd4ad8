"""Accounts: signing in and out, one's own account and data, passwords, API tokens."""

from typing import Any

from django.contrib.auth import login, logout, update_session_auth_hash
from django.http import Http404
from django.middleware.csrf import get_token
from django.utils import timezone
from rest_framework.authentication import SessionAuthentication
from rest_framework.exceptions import NotFound
from rest_framework.permissions import SAFE_METHODS, AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from pinpool.accounts import mail, serializers, services
from pinpool.accounts.account import Account
from pinpool.accounts.own_data import own_data
from pinpool.accounts.throttles import address_of, count
from pinpool.conf import setting
from pinpool.http.etags import Expected
from pinpool.http.pages import PAGE_QUERY
from pinpool.http.problems import Conflict
from pinpool.http.schema import Operation
from pinpool.http.views import AccountView, View
from pinpool.models import ApiToken

READ = (400, 401, 403)
OWN_PASSWORD = (*READ, 422, 429)


def has_session(request: Request) -> bool:
    """Whether the caller came by a session, not by a token."""
    return request.auth is None and hasattr(request._request, "session")


class OpenView(View):
    """A view for whoever has no account, or cannot get into it."""

    permission_classes = [AllowAny]
    query = {}

    def done(self, detail: str) -> Response:
        return self.answer({"detail": detail}, serializers.DoneOut)


class KeepingView(View):
    """What keeps accounts. Where the site does that itself, by `OWN_ACCOUNTS`, reading is all there is."""

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        if request.method not in SAFE_METHODS and not setting("OWN_ACCOUNTS"):
            raise NotFound("This site looks after accounts elsewhere.")


class LogInView(KeepingView, OpenView):
    """Sign in with a session. Read it first: that sets the CSRF cookie and gives the token to send back."""

    operations = {
        "GET": Operation(gives=serializers.LogInPageOut, refusals=(400,)),
        "POST": Operation(
            takes=serializers.CredentialsIn, gives=serializers.AccountOut, refusals=(400, 401, 403, 409, 429)
        ),
    }

    def get(self, request: Request) -> Response:
        return self.answer({"csrf_token": get_token(request._request)}, serializers.LogInPageOut)

    def post(self, request: Request) -> Response:
        SessionAuthentication().enforce_csrf(request)  # nobody is signed in to an account of somebody else's choice
        plain = request._request
        if not hasattr(plain, "session"):
            raise Conflict("This site keeps no sessions; send an API token with each request.")
        asked = self.read(request, serializers.CredentialsIn)
        user = services.log_in(request=plain, address=address_of(request), **asked)
        login(plain, user)
        return self.answer(Account.of(user), serializers.AccountOut)


class LogOutView(KeepingView, AccountView):
    """Sign out: this session ends."""

    query = {}
    operations = {"POST": Operation(takes=serializers.NothingIn, gives=serializers.DoneOut, refusals=READ)}

    def post(self, request: Request) -> Response:
        self.read(request, serializers.NothingIn)
        if has_session(request):
            logout(request._request)
        return self.answer({"detail": "You are signed out."}, serializers.DoneOut)


class MeView(KeepingView, AccountView):
    """One's own account. Another e-mail address takes the password."""

    query = {}
    operations = {
        "GET": Operation(gives=serializers.AccountOut, refusals=READ),
        "PATCH": Operation(takes=serializers.EmailIn, gives=serializers.AccountOut, refusals=(*OWN_PASSWORD, 412, 428)),
    }

    def get(self, request: Request) -> Response:
        return self.one(Account.of(request.user), serializers.AccountOut)

    def patch(self, request: Request) -> Response:
        asked, expected = self.read(request, serializers.EmailIn), Expected.by(request)
        return self.one(services.change_email(user=request.user, expected=expected, **asked), serializers.AccountOut)


class DeletionView(KeepingView, AccountView):
    """Delete one's account for good. Logs stay with “a former member”, cameras pass to their clubs."""

    query = {}
    operations = {
        "POST": Operation(takes=serializers.PasswordIn, gives=serializers.DoneOut, refusals=(*OWN_PASSWORD, 409))
    }

    def post(self, request: Request) -> Response:
        services.delete_account(user=request.user, **self.read(request, serializers.PasswordIn))
        if has_session(request):
            logout(request._request)
        return self.answer({"detail": "Your account is deleted."}, serializers.DoneOut)


class OwnDataView(AccountView):
    """Everything that is kept of oneself, part by part, as one file."""

    query = {}
    operations = {"GET": Operation(gives=serializers.OwnDataOut, refusals=READ)}

    def get(self, request: Request) -> Response:
        found = {"made_at": timezone.now(), "parts": own_data(request.user)}
        response = self.answer(found, serializers.OwnDataOut)
        response["Content-Disposition"] = 'attachment; filename="pinpool-own-data.json"'
        response["Cache-Control"] = "no-store"
        return response


class PasswordView(KeepingView, AccountView):
    """Change one's password. Every other session ends; API tokens go on until they are withdrawn."""

    query = {}
    operations = {
        "POST": Operation(takes=serializers.PasswordChangeIn, gives=serializers.DoneOut, refusals=OWN_PASSWORD)
    }

    def post(self, request: Request) -> Response:
        user = services.change_password(user=request.user, **self.read(request, serializers.PasswordChangeIn))
        if has_session(request):
            update_session_auth_hash(request._request, user)
        return self.answer({"detail": "Your password is changed."}, serializers.DoneOut)


class ResetView(KeepingView, OpenView):
    """Ask for an e-mail with a code for a new password. The answer is the same whether or not there is an account."""

    operations = {"POST": Operation(takes=serializers.ResetIn, gives=serializers.DoneOut, refusals=(400, 401, 429))}

    def post(self, request: Request) -> Response:
        email = self.read(request, serializers.ResetIn)["email"]
        count("RESET_TRIES_PER_ADDRESS", address_of(request))
        mail.later(lambda: mail.send_reset_codes(email))
        if not setting("MAILS"):
            return self.done(
                "This site sends no e-mail. If there is an account of this address, whoever looks after the site "
                "finds a code in its log: ask them for it."
            )
        return self.done("If there is an account of this address, an e-mail with a code is on its way to it.")


class ResetCodeView(KeepingView, OpenView):
    """Set a new password by the code from the e-mail. Every session ends, and API tokens are withdrawn."""

    operations = {
        "POST": Operation(takes=serializers.ResetCodeIn, gives=serializers.DoneOut, refusals=(400, 401, 422, 429))
    }

    def post(self, request: Request) -> Response:
        services.reset_password(address=address_of(request), **self.read(request, serializers.ResetCodeIn))
        return self.done("Your password is changed; sign in with it.")


class TokensView(AccountView):
    """One's API tokens. A token issues others only if it may all that the account may, and none that outlasts it."""

    query = PAGE_QUERY
    operations = {
        "GET": Operation(gives=serializers.TokenOut, page=True, refusals=READ),
        "POST": Operation(
            takes=serializers.TokenIn, gives=serializers.IssuedTokenOut, status=201, refusals=(*READ, 409, 422)
        ),
    }

    def get(self, request: Request) -> Response:
        return self.page(ApiToken.objects.filter(user=request.user), serializers.TokenOut, key="id")

    def post(self, request: Request) -> Response:
        asked = self.read(request, serializers.TokenIn)
        by = request.auth if isinstance(request.auth, ApiToken) else None
        token, secret = services.issue_token(user=request.user, by=by, **asked)
        shown: dict[str, Any] = serializers.TokenOut(token).data | {"secret": secret}
        return Response(shown, status=201, headers={"Cache-Control": "no-store"})


class TokenView(AccountView):
    """One API token. Deleting withdraws it at once; as it never changes, no If-Match is asked for."""

    query = {}
    operations = {"DELETE": Operation(gives=serializers.TokenOut, refusals=(*READ, 404))}

    def delete(self, request: Request, number: int) -> Response:
        token = ApiToken.objects.filter(user=request.user, pk=number).first()
        if token is None:
            raise Http404
        shown = serializers.TokenOut(token).data
        token.delete()
        return Response(shown)
