"""Sections of other packages on a sheet: called by name, and checked on return."""

from collections.abc import Mapping, Sequence
from typing import Any

from clubs.models import Membership
from clubs.sheets.blocks import Faulty, checked
from clubs.sheets.camera import SheetCamera
from optics.core.faults import Impossible
from optics.inputs import refuse
from pinpool.plugins.registry import call, failure

POINT = "sheet_sections"


def sections_for(
    *,
    camera: SheetCamera,
    actor: Membership,
    names: Sequence[str],
    parameters: Sequence[Mapping[str, Any]],
    page: str,
    under: str = "sections",
) -> list[dict[str, Any]]:
    """The sections that these contributions make of a camera, in order, each with its `parameters`.

    What a contribution refuses is the fault of the key `under` it; what it breaks is a `PluginFailed` that names it.
    """
    found = []
    for index, (name, values) in enumerate(zip(names, parameters, strict=True)):
        try:
            made = call(POINT, name, refusals=(Impossible,), camera=camera, actor=actor.user, **values)
        except Impossible as fault:
            refuse(fault, under=f"{under}.{index}")
        try:
            found += checked([made], page=page)
        except Faulty as fault:
            raise failure(POINT, name, f"returned what cannot be set: {fault.faults[0]}") from fault
    return found
