"""Strong entity tags made of a stored object's identity and revision number."""

from rest_framework.request import Request
from rest_framework.response import Response


def tag_of(revision: int) -> str:
    """The strong ETag of a revision."""
    return f'"r{revision}"'


def tagged(request: Request, response: Response, revision: int) -> Response:
    """`response` with its ETag, or 304 without a body where the caller already has this revision.

    A proxy that compresses may weaken the tag it passes on, so only the opaque part is compared.
    """
    tag = tag_of(revision)
    known = {given.strip().removeprefix("W/") for given in request.headers.get("If-None-Match", "").split(",")}
    if request.method in {"GET", "HEAD"} and (tag in known or "*" in known):
        response = Response(status=304)
    response["ETag"] = tag
    return response
