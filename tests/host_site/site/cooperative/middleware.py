"""What the cooperative does to every request and every template."""

from collections import Counter
from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse

#: Requests by the first part of their path.
seen: Counter[str] = Counter()


def counted(answer: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Middleware that counts requests, and marks what it let through."""

    def one(request: HttpRequest) -> HttpResponse:
        seen[request.path.split("/")[1]] += 1
        response = answer(request)
        response["X-Reedfold"] = "counted"
        return response

    return one


def tides(request: HttpRequest) -> dict[str, Any]:
    """For the cooperative's templates; `path` and `reader` mean other things here than they do to Pinpool."""
    return {"path": "the reed path", "reader": "whoever reads the tide table", "tide": "spring tide"}
