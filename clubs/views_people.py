"""The endpoints for members and invitations."""

from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from clubs import invitations, members, selectors, serializers_people
from clubs.serializers import MemberIn, MemberOut
from clubs.views import CHANGE, READ, WRITE, ClubView
from pinpool.accounts.throttles import address_of
from pinpool.http.etags import Expected
from pinpool.http.pages import PAGE_QUERY
from pinpool.http.schema import Operation
from pinpool.http.views import View
from pinpool.scopes import Scope, check_scope


class MembersView(ClubView):
    """Who belongs to the club, and as what."""

    query = PAGE_QUERY
    actions = {"GET": "read_members", "POST": "add_member"}
    operations = {
        "GET": Operation(gives=MemberOut, page=True, refusals=READ),
        "POST": Operation(takes=MemberIn, gives=MemberOut, status=201, refusals=(*WRITE, 429)),
    }

    def get(self, request: Request, club: str) -> Response:
        rows = self.member.club.memberships.select_related("user")
        return self.page(rows, MemberOut, key="id")

    def post(self, request: Request, club: str) -> Response:
        added = members.add_member(actor=self.member, **self.read(request, MemberIn))
        return self.one(added, MemberOut, 201)


class MemberView(ClubView):
    """One member. A keeper gives them another role, or deletes the membership: their logs stay with the club."""

    query = {}
    actions = {"GET": "read_members", "PATCH": "change_role", "DELETE": "remove_member"}
    operations = {
        "GET": Operation(gives=MemberOut, refusals=READ),
        "PATCH": Operation(takes=serializers_people.RoleIn, gives=MemberOut, refusals=CHANGE),
        "DELETE": Operation(gives=MemberOut, refusals=CHANGE),
    }

    def get(self, request: Request, club: str, number: int) -> Response:
        return self.one(selectors.member_in(club=self.member.club, number=number), MemberOut)

    def patch(self, request: Request, club: str, number: int) -> Response:
        actor, expected = self.member, Expected.by(request)
        role = self.read(request, serializers_people.RoleIn)["role"]
        return self.one(members.change_role(actor=actor, number=number, role=role, expected=expected), MemberOut)

    def delete(self, request: Request, club: str, number: int) -> Response:
        ended = members.remove_member(actor=self.member, number=number, expected=Expected.by(request))
        return self.one(ended, MemberOut)


class MembershipView(ClubView):
    """My own membership. Deleting it is leaving the club: my logs stay with it."""

    query = {}
    actions = {"GET": "read_club", "DELETE": "leave_club"}
    operations = {
        "GET": Operation(gives=MemberOut, refusals=READ),
        "DELETE": Operation(gives=MemberOut, refusals=CHANGE),
    }

    def get(self, request: Request, club: str) -> Response:
        return self.one(self.member, MemberOut)

    def delete(self, request: Request, club: str) -> Response:
        return self.one(members.leave_club(actor=self.member, expected=Expected.by(request)), MemberOut)


class InvitationsView(ClubView):
    """The club's invitations, the newest first, used up and withdrawn ones too."""

    query = PAGE_QUERY
    actions = {"GET": "read_invitations", "POST": "invite"}
    operations = {
        "GET": Operation(gives=serializers_people.InvitationOut, page=True, refusals=READ),
        "POST": Operation(
            takes=serializers_people.InvitationIn, gives=serializers_people.InvitationOut, status=201, refusals=WRITE
        ),
    }

    def get(self, request: Request, club: str) -> Response:
        rows = invitations.invitations_in(club=self.member.club)
        return self.page(rows, serializers_people.InvitationOut, key="id", newest_first=True)

    def post(self, request: Request, club: str) -> Response:
        made = invitations.invite(actor=self.member, **self.read(request, serializers_people.InvitationIn))
        return self.one(made, serializers_people.InvitationOut, 201)


class InvitationView(ClubView):
    """One invitation. Deleting withdraws it: nobody else joins by it, and it stays on record."""

    query = {}
    actions = {"GET": "read_invitations", "DELETE": "withdraw_invitation"}
    operations = {
        "GET": Operation(gives=serializers_people.InvitationOut, refusals=READ),
        "DELETE": Operation(gives=serializers_people.InvitationOut, refusals=CHANGE),
    }

    def get(self, request: Request, club: str, number: int) -> Response:
        found = invitations.invitation_in(club=self.member.club, number=number)
        return self.one(found, serializers_people.InvitationOut)

    def delete(self, request: Request, club: str, number: int) -> Response:
        withdrawn = invitations.withdraw_invitation(actor=self.member, number=number, expected=Expected.by(request))
        return self.one(withdrawn, serializers_people.InvitationOut)


class CodeView(View):
    """What an invitation is to, for whoever has its code. Codes that do not count any more soon have to wait."""

    permission_classes = [AllowAny]
    query = {}
    untold_in_logs = "code"
    operations = {"GET": Operation(gives=serializers_people.InvitedOut, refusals=(400, 401, 404, 429))}

    def get(self, request: Request, code: str) -> Response:
        found = invitations.invitation_by(code=code, address=address_of(request))
        return self.answer(found, serializers_people.InvitedOut)


class AcceptView(View):
    """Join a club by a code: with the account that is signed in, or with a new one."""

    permission_classes = [AllowAny]
    query = {}
    untold_in_logs = "code"
    operations = {
        "POST": Operation(
            takes=serializers_people.AcceptIn,
            gives=serializers_people.JoinedOut,
            status=201,
            refusals=(400, 401, 403, 404, 409, 422, 429),
        )
    }

    def post(self, request: Request, code: str) -> Response:
        check_scope(request, Scope.MANAGE)
        address = address_of(request)
        invitations.invitation_by(code=code, address=address)  # who has no code learns of no other fault
        asked = self.read(request, serializers_people.AcceptIn)
        user = request.user if request.user.is_authenticated else None
        joined = invitations.accept(code=code, address=address, user=user, sign_up_as=asked)
        return self.answer(joined, serializers_people.JoinedOut, 201)
