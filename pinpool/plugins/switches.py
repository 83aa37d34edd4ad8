"""Which plug-ins count where: Pinpool's own everywhere, one of another package in the clubs that switched it on.

Asked on behalf of no club, as the optics API and the bench are, every active plug-in counts. What is stored stays as it
is whatever is switched: a switch says what may be newly chosen.
"""

from collections.abc import Collection
from typing import Any

from rest_framework.serializers import Field

from pinpool.http.problems import impossible
from pinpool.plugins import registry
from pinpool.plugins.loading import OURS, Entry
from pinpool.plugins.model import Contribution


def switchable() -> list[Entry]:
    """The active plug-ins of other packages, in the order they were found."""
    return [entry for entry in registry.entries() if entry.state == "active" and entry.package != OURS]


def offered(point: str, on: Collection[str] | None) -> dict[str, Contribution[Any]]:
    """What may be chosen at `point` where the plug-ins named `on` are switched on; None: on behalf of no club."""
    known = dict(registry.contributions(point))
    if on is None:
        return known
    off = {entry.name for entry in switchable()} - set(on)
    return {name: each for name, each in known.items() if registry.owner(point, name) not in off}


def offered_to(field: Field, point: str) -> dict[str, Contribution[Any]]:
    """What a serializer's field may choose: its context names the plug-ins that are on, or has none for no club."""
    return offered(point, field.context.get("plugins"))


def on_with(on: Collection[str], point: str, names: Collection[str]) -> list[str]:
    """What is switched on, and the plug-ins of what is stored already, which may be said again."""
    return [*on, *(registry.owner(point, name) for name in names if name in registry.contributions(point))]


def switched_off(point: str, name: str) -> Any:
    """The refusal of a contribution whose plug-in is not switched on in the club."""
    text = (
        f"“{name}” comes with the plug-in {registry.owner(point, name)}, which is not switched on in this club. "
        "Its keeper can switch it on."
    )
    return impossible(text, "plugin_off")
