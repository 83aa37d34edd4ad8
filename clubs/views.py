"""The club endpoints. An account is needed; what one may do is in `clubs.roles`."""

from functools import cached_property
from typing import Any

from rest_framework.request import Request
from rest_framework.response import Response

from clubs import selectors, serializers, services
from clubs.models import Membership
from clubs.roles import MAY
from pinpool.http.etags import Expected
from pinpool.http.pages import PAGE_QUERY
from pinpool.http.schema import Operation
from pinpool.http.views import AccountView, View
from pinpool.scopes import check_scope

READ = (400, 401, 403, 404)
WRITE = (*READ, 409, 422)
CHANGE = (*WRITE, 412, 428)


class ClubView(AccountView):
    """A view inside one club; `actions` names what each method does, as `clubs.roles.MAY` has it."""

    actions: dict[str, str] = {}

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        View.initial(self, request, *args, **kwargs)  # a token's scope is looked at once the club is known to be theirs

    def scope_of(self, method: str) -> str:
        return MAY[self.actions["GET" if method == "HEAD" else method]].scope

    @cached_property
    def member(self) -> Membership:
        """The caller's membership, or 404 for a stranger and 403 for too low a role."""
        method = "GET" if self.request.method == "HEAD" else str(self.request.method)
        action = self.actions[method]
        found = selectors.membership_in(actor=self.request.user, club=self.kwargs["club"], action=action)
        check_scope(self.request, self.scope_of(method))
        return found

    def context(self) -> dict[str, Any]:
        """What may be chosen in this club is ours, and of its switched-on plug-ins."""
        return super().context() | {"plugins": self.member.club.plugins}


class ClubsView(AccountView):
    """My clubs; founding one makes me its keeper."""

    query = PAGE_QUERY
    operations = {
        "GET": Operation(gives=serializers.ClubOut, page=True, refusals=(400, 401)),
        "POST": Operation(takes=serializers.ClubIn, gives=serializers.ClubOut, status=201, refusals=(400, 401, 409)),
    }

    def get(self, request: Request) -> Response:
        return self.page(selectors.clubs_of(actor=request.user), serializers.ClubOut, key="slug")

    def post(self, request: Request) -> Response:
        club = services.create_club(actor=request.user, **self.read(request, serializers.ClubIn))
        return self.one(club, serializers.ClubOut, 201)


class OneClubView(ClubView):
    """One of my clubs. Its short name stays: addresses are made of it.

    Deleting closes it, for good: its cameras, log, pictures, printed sheets and trail go. Only its last member can.
    """

    query = {}
    actions = {"GET": "read_club", "PATCH": "change_club", "DELETE": "close_club"}
    operations = {
        "GET": Operation(gives=serializers.ClubOut, refusals=READ),
        "PATCH": Operation(takes=serializers.ClubChangeIn, gives=serializers.ClubOut, refusals=CHANGE),
        "DELETE": Operation(gives=serializers.ClubOut, refusals=CHANGE),
    }

    def get(self, request: Request, club: str) -> Response:
        return self.one(self.member.club, serializers.ClubOut)

    def delete(self, request: Request, club: str) -> Response:
        closed = services.close_club(actor=self.member, expected=Expected.by(request))
        return self.one(closed, serializers.ClubOut)

    def patch(self, request: Request, club: str) -> Response:
        member = self.member
        facts = self.read(request, serializers.ClubChangeIn)
        changed = services.change_club(actor=member, expected=Expected.by(request), facts=facts)
        return self.one(changed, serializers.ClubOut)
