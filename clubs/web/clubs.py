"""The pages of clubs themselves: mine, one's start, and what an invitation is to."""

from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from rest_framework.request import Request

from clubs.invitations import invitation_by
from clubs.models import Membership
from clubs.selectors import cameras_in, clubs_of
from clubs.web import panels
from clubs.web.base import ClubPage
from pinpool.accounts.throttles import address_of
from pinpool.web.lists import listed
from pinpool.web.pages import Page, SignedInPage

#: The newest cameras that a club's start shows.
NEW_CAMERAS = 6


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

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        found = invitation_by(code=self.kwargs["code"], address=address_of(Request(self.request)))
        joined = self.reader.is_authenticated and clubs_of(actor=self.reader).filter(pk=found.club_id).exists()
        return super().get_context_data(**kwargs) | {"invitation": found, "joined": joined}


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
            "panels": panels.shown("club", self.request, context, **about),
        }
