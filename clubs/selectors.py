"""What may be read of clubs. What one may not see does not exist: 404."""

from typing import Any

from django.db.models import FilteredRelation, OuterRef, Q, QuerySet, Subquery
from django.http import Http404

from clubs.models import Camera, CameraSpec, Club, Membership
from clubs.services import check_role


def clubs_of(*, actor: Any) -> QuerySet[Club]:
    return Club.objects.filter(memberships__user=actor)


def membership_in(*, actor: Any, club: str, action: str) -> Membership:
    """The actor's membership of the club with this slug, if their role allows the action."""
    found = Membership.objects.select_related("club", "user").filter(user=actor, club__slug=club).first()
    if found is None:
        raise Http404
    check_role(membership=found, action=action)
    return found


def members_in(*, club: Club) -> QuerySet[Membership]:
    return Membership.objects.filter(club=club).select_related("club", "user")


def member_in(*, club: Club, number: int) -> Membership:
    """The club's member by the number of their membership."""
    found = members_in(club=club).filter(pk=number).first()
    if found is None:
        raise Http404
    return found


def cameras_in(*, club: Club) -> QuerySet[Camera]:
    return Camera.objects.filter(club=club).select_related("owner", "lent_to").prefetch_related("specs__author")


def camera_rows(*, club: Club) -> QuerySet[Camera]:
    """The club's cameras, each beside the columns of the spec in force, as `spec`."""
    latest = CameraSpec.objects.filter(camera=OuterRef("pk")).order_by("-number").values("number")[:1]
    in_force = FilteredRelation("specs", condition=Q(specs__number=Subquery(latest)))
    return Camera.objects.filter(club=club).annotate(spec=in_force)


def camera_in(*, club: Club, code: str) -> Camera:
    """The club's camera with this code, whatever its case."""
    found = cameras_in(club=club).filter(code=code.upper()).first()
    if found is None:
        raise Http404
    return found


def spec_of(*, camera: Camera, number: int) -> CameraSpec:
    """The camera's spec of this number."""
    found = next((spec for spec in camera.specs.all() if spec.number == number), None)
    if found is None:
        raise Http404
    return found
