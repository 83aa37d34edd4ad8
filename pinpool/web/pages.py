"""What every page of ours shares: its headers, who reads it, and how a refusal looks."""

from functools import cache
from typing import Any
from urllib.parse import urlencode, urlsplit

from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.views.generic import TemplateView
from rest_framework.exceptions import APIException

from pinpool.conf import setting

#: Cookies that the reader's own choices are kept in, and what each may be; the first is what it is without one.
LOOKS, LENGTHS = ("", "light", "dark", "darkroom"), ("mm", "in")
LOOK_COOKIE, LENGTHS_COOKIE = "pinpool_look", "pinpool_lengths"


@cache
def content_security_policy(static_url: str) -> str:
    """Everything from here alone; `static_url` may be of another host of the same site, also for the field worker's own
    fetching.
    """
    parts = urlsplit(static_url)
    here = f"'self' {parts.scheme}://{parts.netloc}" if parts.netloc else "'self'"
    return (
        f"default-src 'none'; script-src {here}; style-src {here}; img-src {here} blob: data:; connect-src {here}; "
        "manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    )


def protect(response: HttpResponseBase) -> HttpResponseBase:
    """Put the headers on a response that every page of ours carries, unless it has its own."""
    response.headers.setdefault("Content-Security-Policy", content_security_policy(settings.STATIC_URL))
    response.headers.setdefault("Cache-Control", "private, no-cache")
    response.headers.setdefault("Referrer-Policy", "same-origin")
    response.headers.setdefault("X-Content-Type-Options", "nosniff")
    return response


def sign_in_page(request: HttpRequest) -> str:
    """Where to sign in and come back from: the site's own page, where `SIGN_IN_PAGE` names one, or ours."""
    return f"{setting('SIGN_IN_PAGE') or reverse('web:sign_in')}?{urlencode({'next': request.get_full_path()})}"


class Page(TemplateView):
    """A page that anybody may read. What cannot be shown to the reader is a page too, with its status."""

    http_method_names = ["get", "head", "options"]

    @property
    def reader(self) -> Any:
        """The account that reads, or Django's anonymous one."""
        return getattr(self.request, "user", None) or AnonymousUser()

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        try:
            response = self.show(request, *args, **kwargs)
        except Http404:
            response = self._refused(404, "There is no such page, or none that you may see.")
        except PermissionDenied as fault:
            response = self._refused(403, str(fault) or "This is not for your role in the club.")
        except APIException as fault:  # services and selectors refuse with these
            response = self._refused(fault.status_code, str(fault.detail))
        return protect(response)

    def show(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """The page itself; rendered here, so that a refusal while rendering is one of ours."""
        response = super().dispatch(request, *args, **kwargs)
        return response.render() if hasattr(response, "render") else response

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(**kwargs) | self.shared()

    def shared(self) -> dict[str, Any]:
        """What the template of every page needs."""
        look, lengths = self.request.COOKIES.get(LOOK_COOKIE), self.request.COOKIES.get(LENGTHS_COOKIE)
        return {
            "reader": self.reader,
            "path": self.request.path,
            "look": look if look in LOOKS else LOOKS[0],
            "lengths": lengths if lengths in LENGTHS else LENGTHS[0],
            "api": reverse("pinpool:schema").removesuffix("schema/"),
            "sign_in_page": sign_in_page(self.request),
        }

    def _refused(self, status: int, detail: str) -> HttpResponse:
        return render(self.request, "pinpool/refused.html", {**self.shared(), "detail": detail}, status=status)


class SignedInPage(Page):
    """A page for accounts: others are sent to sign in, and come back."""

    def show(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not self.reader.is_authenticated:
            return HttpResponseRedirect(sign_in_page(request))
        return super().show(request, *args, **kwargs)
