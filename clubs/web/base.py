"""Pages inside a club."""

from typing import Any, ClassVar

from django.http import HttpRequest, HttpResponse

from clubs.models import Club, Membership
from clubs.roles import MAY, allows
from clubs.selectors import membership_in
from pinpool.web.pages import SignedInPage


class ClubPage(SignedInPage):
    """A page for those whose role allows its `action`, a key of `clubs.roles.MAY`."""

    action: ClassVar[str]
    membership: Membership

    @property
    def club(self) -> Club:
        return self.membership.club

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        self.membership = membership_in(actor=self.reader, club=kwargs["club"], action=self.action)
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        may = {name for name in MAY if allows(self.membership.role, name)}
        return super().get_context_data(**kwargs) | {"club": self.club, "membership": self.membership, "may": may}
