"""What every page of ours shares: its headers, who reads it, and how a refusal looks."""

from functools import cache
from typing import Any
from urllib.parse import urlencode, urlsplit

from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import PermissionDenied
from django.db import DatabaseError
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import resolve_url
from django.urls import reverse
from django.utils import translation
from django.views.generic import TemplateView
from rest_framework.exceptions import APIException

from pinpool.conf import LANGUAGE, setting
from pinpool.http.problems import refusal_of
from pinpool.http.request_ids import current
from pinpool.web.frames import ALONE, framed

#: Cookies that the reader's own choices are kept in, and what each may be; the first is what it is without one.
LOOKS, LENGTHS = ("", "light", "dark", "darkroom"), ("mm", "in")
LOOK_COOKIE, LENGTHS_COOKIE = "pinpool_look", "pinpool_lengths"


def content_security_policy() -> str:
    """Everything from here alone, but for the `PAGE_SOURCES` that the site names for its own frame."""
    return _policy(settings.STATIC_URL, tuple((name, *each) for name, each in setting("PAGE_SOURCES").items()))


@cache
def _policy(static_url: str, more: tuple[tuple[str, ...], ...]) -> str:
    """`static_url` may be of another host of the same site, also for the field worker's own fetching."""
    parts = urlsplit(static_url)
    here = f"'self' {parts.scheme}://{parts.netloc}" if parts.netloc else "'self'"
    found = {
        "default-src": "'none'", "script-src": here, "style-src": here, "img-src": f"{here} blob: data:",
        "connect-src": here, "manifest-src": "'self'", "worker-src": "'self'", "form-action": "'self'",
        "base-uri": "'none'", "frame-ancestors": "'none'",
    }  # fmt: skip
    for name, *sources in more:
        found[name] = " ".join([*([found[name]] if found.get(name, "'none'") != "'none'" else []), *sources])
    return "; ".join(f"{name} {sources}" for name, sources in found.items())


def protect(response: HttpResponseBase) -> HttpResponseBase:
    """Put the headers on a response that every page of ours carries, unless it has its own."""
    response.headers.setdefault("Content-Security-Policy", content_security_policy())
    response.headers.setdefault("Cache-Control", "private, no-cache")
    response.headers.setdefault("Referrer-Policy", "same-origin")
    response.headers.setdefault("X-Content-Type-Options", "nosniff")
    return response


def sign_in_page(request: HttpRequest) -> str:
    """Where to sign in and come back from: see `SIGN_IN_PAGE`."""
    ours = reverse("pinpool_web:sign_in") if setting("OWN_ACCOUNTS") else None
    page = resolve_url(setting("SIGN_IN_PAGE") or ours or settings.LOGIN_URL)
    return f"{page}{'&' if '?' in page else '?'}{urlencode({'next': request.get_full_path()})}"


class Page(TemplateView):
    """A page that anybody may read. What cannot be shown to the reader is a page too, with its status."""

    http_method_names = ["get", "head", "options"]
    #: The site's language: ours is for our own words and figures, the site's for what it puts around them.
    language: str | None = None
    #: The part of its address that opens something, such as a claim code, and that logs leave out.
    untold_in_logs = ""

    @property
    def base_template(self) -> str:
        """What the page is put into."""
        return setting("BASE_TEMPLATE")

    @property
    def reader(self) -> Any:
        """The account that reads, or Django's anonymous one."""
        return getattr(self.request, "user", None) or AnonymousUser()

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        self.language = translation.get_language()
        with translation.override(LANGUAGE):
            try:
                response = self.show(request, *args, **kwargs)
            except Http404:
                response = self._refused(404, "There is no such page, or none that you may see.")
            except PermissionDenied as fault:
                response = self._refused(403, str(fault) or "This is not for your role in the club.")
            except APIException as fault:  # services and selectors refuse with these
                response = self._refused(fault.status_code, str(fault.detail))
            except (DatabaseError, OSError) as fault:
                refusal = refusal_of(fault)
                if refusal is None:
                    raise
                request.user = AnonymousUser()  # who reads is told by the database
                response = self._refused(refusal.status_code, str(refusal.detail))
        return protect(response)

    def show(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """The page itself."""
        return super().dispatch(request, *args, **kwargs)

    def render_to_response(self, context: dict[str, Any], **response_kwargs: Any) -> HttpResponse:
        return HttpResponse(self._framed(self.get_template_names()[0], context), **response_kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(**kwargs) | self.shared()

    def shared(self) -> dict[str, Any]:
        """What the template of every page needs."""
        look, lengths = self.request.COOKIES.get(LOOK_COOKIE), self.request.COOKIES.get(LENGTHS_COOKIE)
        return {
            "reader": self.reader,
            "site_name": setting("SITE_NAME"),
            "path": self.request.path,
            "look": look if look in LOOKS else LOOKS[0],
            "lengths": lengths if lengths in LENGTHS else LENGTHS[0],
            "api": reverse("pinpool:schema").removesuffix("schema/"),
            "sign_in_page": sign_in_page(self.request),
            "own_accounts": setting("OWN_ACCOUNTS"),
            "stylesheets": setting("STYLESHEETS"),
            "csrf_header": settings.CSRF_HEADER_NAME.removeprefix("HTTP_").replace("_", "-"),
            "alone": self.base_template == ALONE,
        }

    def _refused(self, status: int, detail: str) -> HttpResponse:
        context = {**self.shared(), "detail": detail, "request_id": current()}
        return HttpResponse(self._framed("pinpool/refused.html", context), status=status)

    def _framed(self, template: str, context: dict[str, Any]) -> str:
        return framed(self.request, template, context, base=self.base_template, language=self.language)


class SignedInPage(Page):
    """A page for accounts: others are sent to sign in, and come back."""

    def show(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not self.reader.is_authenticated:
            return HttpResponseRedirect(sign_in_page(request))
        return super().show(request, *args, **kwargs)
