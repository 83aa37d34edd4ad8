"""What may be read of clubs. What one may not see does not exist: 404."""

from typing import Any

from django.db.models import Exists, FilteredRelation, OuterRef, QuerySet
from django.http import Http404

from clubs.models import Camera, CameraSpec, Club, Membership
from clubs.services import check_role
from pinpool.prepared import Prepared, Told, columns_of, model_from


def clubs_of(*, actor: Any) -> QuerySet[Club]:
    return Club.objects.filter(memberships__user=actor)


def membership_in(*, actor: Any, club: str, action: str) -> Membership:
    """The actor's membership of the club with this slug, if their role allows the action."""
    row = next(_membership(user=actor.pk, club=club), None)
    if row is None:
        raise Http404
    values = iter(row)
    found: Membership = model_from(Membership, values)
    found.club, found.user = model_from(Club, values), actor
    check_role(membership=found, action=action)
    return found


@Prepared
def _membership() -> QuerySet:
    """An account's membership of the club of a slug: all columns of it, then all of the club's."""
    user, slug = Told("user", Membership._meta.get_field("user")), Told("club", Club._meta.get_field("slug"))
    return Membership.objects.filter(user=user, club__slug=slug).values_list(
        *columns_of(Membership), *columns_of(Club, "club__")
    )


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


def camera_rows(*, club: Any) -> QuerySet[Camera]:
    """A club's cameras, by its key, each beside the columns of the spec in force as `spec`."""
    specs = FilteredRelation("specs")
    later = CameraSpec.objects.filter(camera=OuterRef("pk"), number__gt=OuterRef("spec__number"))
    cameras = Camera.objects.filter(club_id=club).annotate(spec=specs)  # type: ignore[no-redef]  # as an instance has it
    return cameras.filter(~Exists(later))


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
