"""What workshops keep of a person with an account, and how they part with them."""

from typing import Any

from django.db.models import F

from exposures.workshops.models import Place
from exposures.workshops.serializers import PlaceExposureOut, WithHole


def places_of(user: Any) -> list[Any]:
    """The places that they claimed, with the hole and all that was noted there; no codes."""
    rows = Place.objects.filter(user=user).select_related("workshop__club", "workshop__design", "camera").order_by("pk")
    return [
        {
            "club": row.workshop.club.slug,
            "workshop": row.workshop.name,
            "number": row.number,
            "name": row.name,
            **WithHole(row).data,
            "camera": row.camera and row.camera.code,
            "exposures": PlaceExposureOut(row.exposures.all(), many=True).data,
        }
        for row in rows.prefetch_related("exposures")
    ]


def part_with(user: Any) -> None:
    """Leave what was made at an account's places to the workshops, as nobody's, before the account is deleted.

    Call inside the transaction that deletes it.
    """
    Place.objects.filter(user=user).update(user=None, name="", revision=F("revision") + 1)
