"""Invitations: a code that lets whoever has it join a club, so many times, until it expires or is withdrawn."""

from datetime import timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F, QuerySet
from django.http import Http404
from django.utils import timezone

from clubs.codes import new_code
from clubs.models import Club, Invitation, Membership
from clubs.services import check_role
from clubs.trail import record
from pinpool.accounts.services import sign_up
from pinpool.accounts.throttles import counted
from pinpool.http.etags import Expected
from pinpool.http.problems import Conflict

#: 23^10 codes: with twenty guesses in a quarter of an hour none of them is found.
CODE_LENGTH = 10


def invitations_in(*, club: Club) -> QuerySet[Invitation]:
    return Invitation.objects.filter(club=club).select_related("made_by")


def invitation_in(*, club: Club, number: int) -> Invitation:
    found = invitations_in(club=club).filter(pk=number).first()
    if found is None:
        raise Http404
    return found


def invite(*, actor: Membership, role: str, note: str, uses: int, days: int) -> Invitation:
    """A new invitation with a code of its own."""
    check_role(membership=actor, action="invite")
    ends = timezone.now() + timedelta(days=days)
    facts = {"role": role, "note": note, "uses": uses, "expires_at": ends}
    with transaction.atomic():
        made = Invitation.objects.create(club=actor.club, code=new_code(CODE_LENGTH), made_by=actor.user, **facts)
        shown = {**facts, "expires_at": ends.isoformat()}
        record(club=actor.club, actor=actor.user, action="invite", subject=_subject(made), after=shown)
    return made


def withdraw_invitation(*, actor: Membership, number: int, expected: Expected) -> Invitation:
    """Let nobody else join by it. The invitation stays on record."""
    check_role(membership=actor, action="withdraw_invitation")
    with transaction.atomic():
        found = Invitation.objects.select_for_update().filter(club=actor.club, pk=number).first()
        if found is None:
            raise Http404
        expected.check(found.revision)
        if found.withdrawn_at is not None:
            raise Conflict("This invitation has been withdrawn already.")
        found.withdrawn_at, found.revision = timezone.now(), found.revision + 1
        found.save(update_fields=["withdrawn_at", "revision"])
        record(club=actor.club, actor=actor.user, action="withdraw_invitation", subject=_subject(found))
    return found


def invitation_by(*, code: str, address: str) -> Invitation:
    """The invitation that a code stands for, if it still lets somebody in; any other is a 404 that counts as a try."""
    with counted(INVITATION_TRIES_PER_ADDRESS=address):
        found = _open(code).select_related("club").first()
        if found is None:
            raise Http404
    return found


def accept(*, code: str, address: str, user: Any | None, sign_up_as: dict[str, str] | None = None) -> Membership:
    """Join by a code, as `user` or as a new account made of `sign_up_as`; a use counts only if all of it succeeds.

    One statement checks the code and takes a use of it, so that a last use is given to one of many who ask at once.
    """
    with counted(INVITATION_TRIES_PER_ADDRESS=address), transaction.atomic():
        if not _open(code).update(used=F("used") + 1, revision=F("revision") + 1):
            raise Http404
        invitation = Invitation.objects.select_related("club").get(code=code.upper())
        if user is None:
            user = sign_up(**sign_up_as or {})
        try:
            with transaction.atomic():
                member = Membership.objects.create(club=invitation.club, user=user, role=invitation.role)
        except IntegrityError:
            raise Conflict(f"You are a member of {invitation.club} already.") from None
        facts = {"role": member.role, "by": _subject(invitation)}
        subject = f"member {user.get_username()}"
        record(club=invitation.club, actor=user, action="accept_invitation", subject=subject, after=facts)
    return member


def _open(code: str) -> QuerySet[Invitation]:
    """The invitation of this code, in any case, unless it is used up, withdrawn or expired."""
    still = {"used__lt": F("uses"), "withdrawn_at": None, "expires_at__gt": timezone.now()}
    return Invitation.objects.filter(code=code.upper(), **still)


def _subject(invitation: Invitation) -> str:
    """By its number: the trail is no place for a code that may still work."""
    return f"invitation {invitation.pk}"
