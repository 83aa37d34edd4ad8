"""The pages of the ground floor: the start, and one's account."""

from typing import Any

from django.http import Http404, HttpRequest
from django.http.response import HttpResponseBase
from django.utils.http import url_has_allowed_host_and_scheme

from pinpool.accounts.account import Account
from pinpool.models import ApiToken
from pinpool.scopes import Scope
from pinpool.web.pages import Page, SignedInPage


class HomePage(Page):
    """What this is, and the ways in."""

    template_name = "pinpool/home.html"


class NowherePage(Page):
    """For addresses that lead nowhere."""

    http_method_names = ["get", "head", "options", "post", "put", "patch", "delete"]

    def show(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        raise Http404


class SignInPage(Page):
    """Name and password, then on to where the reader came from; nowhere outside this site."""

    template_name = "pinpool/sign_in.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        onward = self.request.GET.get("next", "")
        here = url_has_allowed_host_and_scheme(
            onward, allowed_hosts={self.request.get_host()}, require_https=self.request.is_secure()
        )
        # The form fills in {keys} from its answer: an empty one would make “/{key}/elsewhere” another host's address.
        return super().get_context_data(**kwargs) | {"onward": onward.replace("{", "%7B") if here else ""}


class ForgottenPage(Page):
    """Ask for a code by e-mail."""

    template_name = "pinpool/forgotten.html"


class ResetPage(Page):
    """Set a new password by the code from the e-mail, given in the address or typed."""

    template_name = "pinpool/reset.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(**kwargs) | {"code": self.kwargs.get("code", "")}


class AccountPage(SignedInPage):
    """E-mail, password, tokens, one's own data, and the way out."""

    template_name = "pinpool/account.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        tokens = ApiToken.objects.filter(user=self.reader).order_by("pk")
        account = Account.of(self.reader)
        return super().get_context_data(**kwargs) | {"account": account, "tokens": tokens, "scopes": Scope.choices}
