"""Origins of web pages, as browsers send them in the Origin header (RFC 6454): scheme, host, and an unusual port."""

import re
from typing import Any
from urllib.parse import urlsplit

from rest_framework import serializers

from pinpool.http.fields import Text

#: Hosts of the machine itself, where http will do: nobody listens in between.
LOCAL = {"localhost", "127.0.0.1", "[::1]"}
USUAL_PORTS = {"https": 443, "http": 80}
_NAME = re.compile(r"(?!-)[a-z0-9-]{1,63}(?<!-)(\.(?!-)[a-z0-9-]{1,63}(?<!-))*\Z")
FORM = "Give a site's origin, such as https://club.example, with its port if it has one: no path, no wildcard."
LETTERS = "Write a name with other letters as its site is registered: xn--…"


def origin_of(text: str) -> str | None:
    """The origin that a browser would send from a page at this address; None where it is no address of a page."""
    try:
        parts = urlsplit(text)
        host, port = parts.hostname, parts.port
    except ValueError:  # a port that is none, or brackets that do not match
        return None
    if parts.scheme not in USUAL_PORTS or not host or parts.username is not None:
        return None
    if ":" in host:
        host = f"[{host}]"
    elif not host.isascii():
        host = _in_ascii(host)
    if len(host) > 253 or not (_NAME.match(host) or host in LOCAL):
        return None
    unusual = "" if port is None or port == USUAL_PORTS[parts.scheme] else f":{port}"
    return f"{parts.scheme}://{host}{unusual}"


def _in_ascii(host: str) -> str:
    """A name with other letters as “xn--”; empty where it is none, or one that browsers may read otherwise.

    Python knows IDNA 2003, which gives “ß” as “ss” and leaves joiners out; browsers, by IDNA 2008, keep them: another
    site.
    """
    try:
        coded = host.encode("idna")
        return coded.decode("ascii") if coded.decode("idna") == host else ""
    except UnicodeError:
        return ""


class Origin(Text):
    """An origin exactly as a browser writes it, of https; of http only on the machine itself."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=270, **kwargs)

    def to_internal_value(self, data: Any) -> str:
        text = super().to_internal_value(data)
        origin = origin_of(text)
        if origin is None:
            raise serializers.ValidationError(FORM if text.isascii() else f"{FORM} {LETTERS}", "invalid_origin")
        scheme, _, place = origin.partition("://")
        if scheme == "http" and re.sub(r":\d+\Z", "", place) not in LOCAL:
            raise serializers.ValidationError("Only https will do, but for this machine's own localhost.", "not_https")
        if origin != text:
            raise serializers.ValidationError(f"Write it as browsers do: {origin}", "invalid_origin")
        return origin
