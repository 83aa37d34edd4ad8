"""Drawings on the club's pages: how the film lies, and codes to scan."""

import json
from functools import lru_cache
from typing import Any

import segno

from optics import contributed
from optics.core.faults import Impossible
from optics.core.say import Lengths
from optics.core.section_svg import section_svg
from pinpool.http.problems import PluginFailed


def section_of(film_plane: dict[str, Any], *, title: str, lengths: Lengths) -> str:
    """The section of a stored film plane as SVG, its texts escaped; "" where the plug-in of its kind is gone."""
    try:
        return _section(json.dumps(film_plane, sort_keys=True), title, lengths)
    except (Impossible, PluginFailed):
        return ""


@lru_cache(maxsize=1000)  # a drawing takes some 15 ms, and a registry shows fifty
def _section(film_plane: str, title: str, lengths: Lengths) -> str:
    return section_svg(contributed.film_plane(**json.loads(film_plane)), title=title, lengths=lengths)


def code_to_scan(text: str) -> str:
    """A QR code as SVG, black on white with its quiet zone; stands in an element of the class “code”."""
    return segno.make_qr(text, error="m").svg_inline(scale=4, border=4, dark="#000", light="#fff")
