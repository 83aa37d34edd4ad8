"""What is checked of laws that papers may keep: that rows can be taken of each."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from exposures.published import rows_of
from optics.core.faults import Impossible
from optics.core.reciprocity import Law
from optics.inputs import ReciprocityField
from optics.plugin_checks import SHORTENS, read_examples
from pinpool.plugins.registry import contributions


def law(name: str, bodies: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """Faults for which a paper would refuse a law in each of its examples; one that needs the actor is of no paper."""
    if not contributions(ReciprocityField.point)[name].needs_actor:
        yield from read_examples(ReciprocityField(), bodies, {"law": name}, _faults)


def _faults(found: Law) -> Iterator[str]:
    """None for a law that says that it shortens: it is then sound, though of no data sheet."""
    try:
        rows_of(found)
    except Impossible as fault:
        if fault.code != "law_shortens" or SHORTENS not in {flag.code for flag in getattr(found, "flags", ())}:
            yield f"no paper can keep it: {fault}"
