"""Who belongs to a club: members added, roles changed, members removed, leaving. A club always keeps one keeper."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.contrib.auth import get_user_model
from django.db import IntegrityError, transaction
from django.http import Http404
from rest_framework.exceptions import ValidationError

from clubs.models import Camera, Club, Membership
from clubs.selectors import member_in
from clubs.services import check_role
from clubs.trail import record
from pinpool.accounts.throttles import counted
from pinpool.http.etags import Expected
from pinpool.http.problems import Conflict, impossible


@contextmanager
def club_held(actor: Membership, action: str) -> Iterator[None]:
    """A transaction that holds the club's row, in which the actor's role still allows the action.

    Every change of who keeps the club goes through it, so that two at the same moment come one after the other.
    """
    with transaction.atomic():
        Club.objects.select_for_update().get(pk=actor.club_id)
        now = Membership.objects.filter(pk=actor.pk).first()
        if now is None:
            raise Http404
        check_role(membership=now, action=action)
        yield


def add_member(*, actor: Membership, username: str, role: str) -> Membership:
    """Give an existing account a role in the club. Names that are none count as tries: they could be fished for."""
    check_role(membership=actor, action="add_member")
    users = get_user_model()
    with counted(MEMBER_TRIES_PER_ACCOUNT=str(actor.user_id)):
        user = users._default_manager.filter(**{users.USERNAME_FIELD: username}).first()
        if user is None:
            raise ValidationError({"username": [impossible("There is no account of that name.", "unknown_account")]})
    try:
        with transaction.atomic():
            member = Membership.objects.create(club=actor.club, user=user, role=role)
            _record(member, actor=actor.user, action="add_member", after={"role": role})
    except IntegrityError:
        raise Conflict(f"{username} is a member already.") from None
    return member


def change_role(*, actor: Membership, number: int, role: str, expected: Expected) -> Membership:
    """Give a member another role."""
    with club_held(actor, "change_role"):
        member = member_in(club=actor.club, number=number)
        expected.check(member.revision)
        before = {"role": member.role}
        if role != "keeper":
            _check_not_the_last_keeper(member)
        member.role, member.revision = role, member.revision + 1
        member.save(update_fields=["role", "revision"])
        _record(member, actor=actor.user, action="change_role", before=before, after={"role": role})
    return member


def remove_member(*, actor: Membership, number: int, expected: Expected) -> Membership:
    """End somebody's membership; returns it as it was. Their logs stay, and cameras of their own stay theirs."""
    with club_held(actor, "remove_member"):
        member = member_in(club=actor.club, number=number)
        expected.check(member.revision)
        _end(member, actor=actor.user, action="remove_member")
    return member


def leave_club(*, actor: Membership, expected: Expected) -> Membership:
    """End one's own membership; returns it as it was."""
    with club_held(actor, "leave_club"):
        member = member_in(club=actor.club, number=actor.pk)
        expected.check(member.revision)
        _end(member, actor=actor.user, action="leave_club")
    return member


def part_with(user: Any) -> None:
    """End an account's memberships before it is deleted; its cameras pass to the clubs, and its loans end.

    Call inside the transaction that deletes it. A `Conflict` where a club would be left without a keeper.
    """
    clubs = Membership.objects.filter(user=user).values("club")
    list(Club.objects.filter(pk__in=clubs).order_by("pk").select_for_update())
    members = list(Membership.objects.filter(user=user).select_related("club", "user").order_by("club"))
    for member in members:
        _end(member, actor=user, action="leave_club")
    for camera in Camera.objects.select_for_update().filter(owner=user).order_by("pk"):
        camera.owner, camera.revision = None, camera.revision + 1
        camera.save(update_fields=["owner", "revision"])
    for camera in Camera.objects.select_for_update().filter(lent_to=user).order_by("pk"):
        camera.revision += 1  # it is still out: who has it is no longer told, until somebody brings it back
        camera.save(update_fields=["revision"])


def _end(member: Membership, *, actor: Any, action: str) -> None:
    _check_not_the_last_keeper(member)
    _record(member, actor=actor, action=action, before={"role": member.role})
    Membership.objects.filter(pk=member.pk).delete()


def _record(member: Membership, **facts: Any) -> None:
    record(club=member.club, subject=f"member {member.user.get_username()}", **facts)


def _check_not_the_last_keeper(member: Membership) -> None:
    """Raise `Conflict` where the club would be left without a keeper; the club's row must be held."""
    others = Membership.objects.filter(club=member.club_id, role="keeper").exclude(pk=member.pk)
    if member.role == "keeper" and not others.exists():
        name, club = member.user.get_username(), member.club.name
        raise Conflict(f"{name} is the only keeper of {club}. Make another member its keeper first.")
