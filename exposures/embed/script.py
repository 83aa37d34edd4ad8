"""The script that other web pages load, byte for byte the same from every server of this release.

A page may pin it by its digest, so once released a file never changes: what is to change is another version beside it.
"""

import base64
import hashlib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from django.http import Http404, HttpRequest
from django.urls import reverse

FOLDER = Path(__file__).parents[1] / "static" / "exposures" / "embed"
VERSIONS = ("v1",)


@dataclass(frozen=True)
class Script:
    """One version: its bytes, and what a browser compares them with."""

    version: str
    content: bytes

    @property
    def integrity(self) -> str:
        """“sha384-…”, as Subresource Integrity has it."""
        return "sha384-" + base64.b64encode(hashlib.sha384(self.content).digest()).decode()

    @property
    def size_bytes(self) -> int:
        return len(self.content)

    def address(self, request: HttpRequest) -> str:
        return request.build_absolute_uri(reverse("embed_web:script", args=[self.version]))


@cache
def script(version: str = VERSIONS[-1]) -> Script:
    """A version of the script; 404 for one that there is not."""
    if version not in VERSIONS:
        raise Http404
    return Script(version, (FOLDER / f"{version}.js").read_bytes())
