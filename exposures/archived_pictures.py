"""Pictures out of an archive: kept as they are if they are bare JPEGs such as we make ourselves, else encoded anew."""

import base64
from typing import Any

from django.core.exceptions import ValidationError as Faulty
from rest_framework.exceptions import ValidationError

from pinpool.pictures import reencoded

MOST_PIXELS_WIDE = 1600
#: JFIF's header, tables, the frame and restart intervals: what a JPEG needs, and nothing that could carry more.
_BARE = {0xE0, 0xDB, 0xC4, 0xDD, 0xC0, 0xC1, 0xC2}
_SCAN, _END = 0xDA, b"\xff\xd9"


def stored_picture(text: Any) -> bytes:
    """The JPEG to store for a base64 text; raises Django's ValidationError where it is no picture."""
    if not isinstance(text, str):
        raise Faulty("A picture is a text in base64.", "wrong_type")
    try:
        data = base64.b64decode(text, validate=True)
        anew, _, _ = reencoded(data, most_pixels_wide=MOST_PIXELS_WIDE)
    except ValueError:  # a sign that is none of base64, or none of ASCII
        raise Faulty("A picture is a text in base64.", "invalid") from None
    except ValidationError as fault:
        raise Faulty(str(fault.detail), "image_unreadable") from None
    return data if is_bare(data) else anew


def is_bare(data: bytes) -> bool:
    """Whether a JPEG holds its picture and nothing else: no notes, no profile, nothing after its end."""
    at = 2
    while data[at : at + 1] == b"\xff":
        kind, size = data[at + 1], int.from_bytes(data[at + 2 : at + 4], "big")
        if kind == _SCAN:
            # Within the scan a byte FF stands before 00, a restart mark, or what belongs to a later scan.
            return data.endswith(_END) and data.count(_END) == 1
        if kind not in _BARE or (kind == 0xE0 and size != 16):
            return False
        at += 2 + size
    return False
