"""The pages of clubs themselves: mine, one's start, and what an invitation is to."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.contrib.auth.password_validation import password_validators_help_texts
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from rest_framework.exceptions import NotFound
from rest_framework.request import Request

from clubs.invitations import invitation_by
from clubs.models import Club, Membership
from clubs.roles import allows
from clubs.selectors import cameras_in, clubs_of
from clubs.web import panels
from clubs.web.base import ClubPage
from pinpool.accounts.throttles import address_of
from pinpool.plugins.model import POINTS, Contribution
from pinpool.plugins.switches import switchable
from pinpool.web.lists import listed
from pinpool.web.pages import Page, SignedInPage

#: The newest cameras that a club's start shows.
NEW_CAMERAS = 6


@dataclass(frozen=True)
class PluginRow:
    """A plug-in as a keeper switches it: `others` is the JSON of what is on once it is switched the other way."""

    name: str
    says: str
    contributes: Sequence[tuple[str, Sequence[Contribution[Any]]]]
    on: bool
    others: str


def plugin_rows(club: Club) -> list[PluginRow]:
    """Every plug-in of another package that is active here or switched on in the club."""
    on, found = set(club.plugins), {entry.name: entry for entry in switchable()}
    rows = []
    for name in sorted(found.keys() | on):
        entry = found.get(name)
        points = [(point, getattr(entry.plugin, point)) for point in POINTS] if entry else []
        rows.append(
            PluginRow(
                name,
                f"Version {entry.version} of the package {entry.package}" if entry else "not active on this server now",
                [(point.replace("_", " "), each) for point, each in points if each],
                name in on,
                json.dumps(sorted(on ^ {name})),
            )
        )
    return rows


class ClubsPage(SignedInPage):
    """My clubs, a new one, and the way in by an invitation's code."""

    template_name = "clubs/clubs.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        typed = request.GET.get("code", "")
        if code := "".join(letter for letter in typed if letter.isascii() and letter.isalnum()):
            return HttpResponseRedirect(reverse("clubs_web:join", args=[code]))
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        mine = Membership.objects.filter(user=self.reader).select_related("club")
        return super().get_context_data(**kwargs) | {"page": listed(self.request, mine, key="id")}


class JoinPage(Page):
    """What an invitation is to; codes that do not count any more soon have to wait."""

    template_name = "clubs/join.html"
    untold_in_logs = "code"
    #: Of every code that lets nobody in, whatever it once was.
    ended = (
        "No invitation has this code, or it has ended, was withdrawn or is used up. If you have joined by it, sign in; "
        "if not, ask who gave it to you for another."
    )

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        try:
            found = invitation_by(code=self.kwargs["code"], address=address_of(Request(self.request)))
        except Http404:
            raise NotFound(self.ended) from None
        joined = self.reader.is_authenticated and clubs_of(actor=self.reader).filter(pk=found.club_id).exists()
        rules = password_validators_help_texts()
        return super().get_context_data(**kwargs) | {"invitation": found, "joined": joined, "password_rules": rules}


class StartPage(ClubPage):
    """A club's start: what is new, its name, and the ways out."""

    template_name = "clubs/club.html"
    action = "read_club"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        cameras = cameras_in(club=self.club).order_by("-registered_at", "-pk")
        about = {"membership": self.membership}
        return context | {
            "cameras": cameras[:NEW_CAMERAS],
            "plugins": plugin_rows(self.club) if allows(self.membership.role, "change_club") else [],
            "panels": panels.shown("club", self.request, context, **about),
        }
