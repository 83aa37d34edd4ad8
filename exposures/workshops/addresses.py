"""Where a claim code leads: what is printed as a code to scan, and what a leader hands out."""

from collections.abc import Callable

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from rest_framework.request import Request

from pinpool.conf import setting


def place_address(request: HttpRequest | Request) -> Callable[[str], str]:
    """The address of a place by its claim code: the site's page for it, or ours; the API's where pages are not served.

    Ours, and the API's, are at the host that was asked.
    """
    page: str = setting("PLACE_PAGE")

    def address(code: str) -> str:
        if page:
            return page.replace("{code}", code)
        return request.build_absolute_uri(_own_path(request, code))

    return address


def _own_path(request: HttpRequest | Request, code: str) -> str:
    try:
        return reverse("exposures_web:place", kwargs={"code": code})
    except NoReverseMatch:
        above = request.resolver_match.namespace.rpartition(":")[0]  # type: ignore[union-attr]
        return reverse(f"{above}:places:place" if above else "places:place", kwargs={"claim_code": code})
