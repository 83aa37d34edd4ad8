"""Letting a club go with everything that is kept of it, app by app: each knows its own tables, and in which order.

Each app above this one contributes its part from `AppConfig.ready`. Django's own cascade would not do: rows that others
rest on are protected from being deleted by mistake, even together with what rests on them. Nor would it take files
away.
"""

from collections.abc import Callable

from clubs.models import Camera, CameraPhoto, Club, Design, Invitation, IssuedSheet, Person
from pinpool.pictures import remove_after_commit
from pinpool.plugins.keeping import watched

Part = Callable[[Club], None]

_parts: dict[str, tuple[Part, Part]] = watched({})


def contribute(name: str, part_with: Part, *, hold: Part) -> None:
    """Add a part: `part_with(club)` deletes its rows, and their files once that is certain.

    `hold(club)` comes before everything else, the club's own row included: what writers of those rows hold first.
    """
    _parts[name] = part_with, hold


def hold(club: Club) -> None:
    """Let nobody else change what the apps above keep of a club, in the order in which their writers come to it."""
    for _, first in _parts.values():
        first(club)


def part_with(club: Club) -> None:
    """Delete everything of a club but its members and its trail, what rests on other rows before them."""
    for part, _ in reversed(_parts.values()):
        part(club)
    cameras = Camera.objects.filter(club=club)
    list(cameras.order_by("pk").select_for_update().values_list("pk"))  # no photo comes from here on
    remove_after_commit(photo.image for photo in CameraPhoto.objects.filter(camera__club=club))
    for rows in (IssuedSheet.objects, cameras, Design.objects, Person.objects, Invitation.objects):
        rows.filter(club=club).delete()
