"""The page of who belongs to the club: roles, and invitations to it."""

from dataclasses import dataclass
from typing import Any

from django.db.models import F, Q
from django.urls import reverse
from django.utils import timezone

from clubs.invitations import invitations_in
from clubs.models import Invitation
from clubs.roles import ROLE_CHOICES, allows
from clubs.selectors import members_in
from clubs.web.base import ClubPage
from clubs.web.drawings import code_to_scan
from pinpool.conf import setting
from pinpool.web.lists import listed

#: The newest invitations shown that still count, and the newest of those that count no more.
SHOWN_OPEN, SHOWN_ENDED = 50, 20
#: What each role is for, in a sentence.
ROLES = {
    "guest": "sees the club's cameras, papers and logs",
    "member": "also registers cameras and logs exposures",
    "leader": "also holds workshops and adds papers",
    "keeper": "also decides who belongs to the club, and sees the trail",
}


@dataclass(frozen=True)
class Open:
    """An invitation that still counts, with its link and the code that a phone scans for it."""

    invitation: Invitation
    link: str
    code_to_scan: str


class MembersPage(ClubPage):
    """Who belongs to the club and as what; for keepers also its invitations."""

    template_name = "clubs/members.html"
    action = "read_members"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs) | {
            "page": listed(self.request, members_in(club=self.club), key="id"),
            "roles": ROLE_CHOICES,
            "role_hints": ROLES,
        }
        return context | (self._invitations() if allows(self.membership.role, "read_invitations") else {})

    def _invitations(self) -> dict[str, Any]:
        ended = Q(used__gte=F("uses")) | Q(withdrawn_at__isnull=False) | Q(expires_at__lte=timezone.now())
        rows = invitations_in(club=self.club).order_by("-pk")
        return {
            "open_invitations": [self._open(each) for each in rows.exclude(ended)[:SHOWN_OPEN]],
            "ended_invitations": rows.filter(ended)[:SHOWN_ENDED],
            "most_days": setting("MAX_INVITATION_DAYS"),
        }

    def _open(self, invitation: Invitation) -> Open:
        link = self.request.build_absolute_uri(reverse("clubs_web:join", args=[invitation.code]))
        return Open(invitation, link, code_to_scan(link))
