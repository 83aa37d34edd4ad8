"""Strong entity tags made of a stored object's identity and revision number."""

from dataclasses import dataclass

from rest_framework.request import Request
from rest_framework.response import Response

from .problems import ChangedMeanwhile, IfMatchMissing


def tag_of(revision: int) -> str:
    """The strong ETag of a revision."""
    return f'"r{revision}"'


def tagged(request: Request, response: Response, revision: int) -> Response:
    """`response` with its ETag, or 304 without a body where the caller already has this revision."""
    tag = tag_of(revision)
    return unchanged(request, tag) or with_tag(response, tag)


def unchanged(request: Request, tag: str) -> Response | None:
    """304 without a body where the caller already has what this tag is of.

    A proxy that compresses may weaken the tag it passes on, so only the opaque part is compared.
    """
    known = _opaque(request.headers.get("If-None-Match", ""))
    if request.method in {"GET", "HEAD"} and (tag in known or "*" in known):
        return with_tag(Response(status=304), tag)
    return None


def with_tag(response: Response, tag: str) -> Response:
    response["ETag"] = tag
    return response


@dataclass(frozen=True)
class Expected:
    """The revisions that a change is meant for, by its If-Match."""

    tags: frozenset[str]

    @classmethod
    def by(cls, request: Request) -> "Expected":
        """Raises `IfMatchMissing` where the request does not say."""
        tags = _opaque(request.headers.get("If-Match", "")) - {""}
        if not tags:
            raise IfMatchMissing
        return cls(frozenset(tags))

    def check(self, revision: int) -> None:
        """Raises `ChangedMeanwhile` where the stored revision is another; ask with the row locked."""
        if not {tag_of(revision), "*"} & self.tags:
            raise ChangedMeanwhile


def _opaque(header: str) -> set[str]:
    return {given.strip().removeprefix("W/") for given in header.split(",")}
