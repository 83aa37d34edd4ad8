"""The WSGI entry of the stand-alone service."""

import os
import re
from collections.abc import Callable, Iterable
from typing import Any

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "pinpool.settings")

_BOUNDARY = re.compile(r';\s*boundary=("[^"]*"|[^\s;"]*)', re.IGNORECASE)
_site = get_wsgi_application()


def application(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
    """The site. Texts are UTF-8 whatever charset a request claims: Django fails on some that Python knows."""
    kind, _, rest = environ.get("CONTENT_TYPE", "").partition(";")
    boundary = _BOUNDARY.match(f";{rest}") or _BOUNDARY.search(rest)
    environ["CONTENT_TYPE"] = kind.strip() + (f"; boundary={boundary[1]}" if boundary else "")
    return _site(environ, start_response)
