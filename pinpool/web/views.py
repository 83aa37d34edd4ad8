"""The pages of the ground floor: the start, and one's account."""

from functools import cache
from pathlib import Path
from typing import Any

from django.contrib.auth.password_validation import password_validators_help_texts
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_safe

from pinpool.accounts.account import Account
from pinpool.conf import setting
from pinpool.models import ApiToken
from pinpool.scopes import Scope
from pinpool.web import signing_out
from pinpool.web.pages import Page, SignedInPage

STATIC = Path(__file__).parent.parent / "static/pinpool"


class HomePage(Page):
    """What this is, and the ways in."""

    template_name = "pinpool/home.html"


class NowherePage(Page):
    """For addresses that lead nowhere."""

    http_method_names = ["get", "head", "options", "post", "put", "patch", "delete"]

    def show(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        raise Http404


class KeepingPage(Page):
    """A page that keeps accounts: there is none where the site does that itself, by `OWN_ACCOUNTS`."""

    def show(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not setting("OWN_ACCOUNTS"):
            raise Http404
        return super().show(request, *args, **kwargs)


class SignInPage(KeepingPage):
    """Name and password, then on to where the reader came from; nowhere outside this site."""

    template_name = "pinpool/sign_in.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        onward = self.request.GET.get("next", "")
        here = url_has_allowed_host_and_scheme(
            onward, allowed_hosts={self.request.get_host()}, require_https=self.request.is_secure()
        )
        # The form fills in {keys} from its answer: an empty one would make “/{key}/elsewhere” another host's address.
        onward = onward.replace("{", "%7B") if here else ""
        return super().get_context_data(**kwargs) | {"onward": onward, "after": self.request.GET.get("after")}


class ForgottenPage(KeepingPage):
    """Ask for a code by e-mail."""

    template_name = "pinpool/forgotten.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(**kwargs) | {"mails": setting("MAILS")}


class ResetPage(KeepingPage):
    """Set a new password by the code from the e-mail, given in the address or typed."""

    template_name = "pinpool/reset.html"
    untold_in_logs = "code"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(**kwargs) | {
            "code": self.kwargs.get("code", ""),
            "password_rules": password_validators_help_texts(),
        }


@require_safe
def within(_request: HttpRequest) -> HttpResponse:
    """Our stylesheet for where a site's own frame is around us: it reaches our part of the page alone."""
    return HttpResponse(_within(), content_type="text/css", headers={"Cache-Control": "max-age=600"})


@cache
def _within() -> str:
    alone, around = ((STATIC / name).read_text(encoding="utf-8") for name in ("pinpool.css", "within.css"))
    return f"@scope (.pinpool) {{\n{alone}}}\n{around}"


class AccountPage(SignedInPage):
    """E-mail, password, tokens, one's own data, and the way out."""

    template_name = "pinpool/account.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        tokens = ApiToken.objects.filter(user=self.reader).order_by("pk")
        account = Account.of(self.reader)
        return super().get_context_data(**kwargs) | {
            "account": account,
            "tokens": tokens,
            "scopes": Scope.choices,
            "at_signing_out": signing_out.templates,
            "password_rules": password_validators_help_texts(),
        }
