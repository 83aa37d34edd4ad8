"""JSON from outside, read strictly: what cannot be stored, compared or answered is refused at the door.

The library's own reader fails on deep nesting, turns `1e999` into infinity, keeps the last of two equal keys
and lets through texts that PostgreSQL cannot hold. Every refusal here is a 400 (413 for size) with a stable
code, after a few passes over the body at most.
"""

import json
import math
import re
from collections import Counter
from collections.abc import Mapping
from typing import IO, Any, NoReturn

from rest_framework import status
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser

from pinpool.conf import setting

MAX_DEPTH = 32
MAX_VALUES = 40_000  # elements, members and containers together: bounds the time a body can cost
MAX_DIGITS = 64  # of an integer

# A text left open runs to the end: searching it again from every quote inside would take quadratic time.
_TEXT = re.compile(r'"(?:[^"\\]++|\\.)*+"?', re.DOTALL)
_NOT_A_BRACKET = re.compile(r"[^\[\]{}]+")

_SUSPECT_ESCAPE = re.compile(r"\\u(?:0000|[dD][89a-fA-F])")
_GOOD_ESCAPES = re.compile(
    r"""(?: [^\\]++
          | \\[^u]
          | \\u (?! 0000 | [dD][89a-fA-F] )
          | \\u [dD][89abAB][0-9a-fA-F]{2} \\u [dD][c-fC-F][0-9a-fA-F]{2}
        )*+""",
    re.VERBOSE | re.DOTALL,
)


class BodyTooLargeError(ParseError):
    status_code = status.HTTP_413_REQUEST_ENTITY_TOO_LARGE


class StrictJSONParser(BaseParser):
    """Reads `application/json` as UTF-8 whatever charset is claimed (RFC 8259, section 8.1).

    Raises ParseError with one of the codes `too_large`, `byte_order_mark`, `bad_encoding`, `bad_json`,
    `too_deep`, `too_many_values`, `number_too_long`, `not_a_number`, `not_finite`, `duplicate_key`,
    `nul_character`, `lone_surrogate`.
    """

    media_type = "application/json"
    #: The setting that limits a body's bytes, and how many values it may hold.
    size_setting, max_values = "MAX_BODY_BYTES", MAX_VALUES

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,  # noqa: ARG002
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        limit = setting(self.size_setting)
        too_large = BodyTooLargeError(f"The body may have at most {limit} bytes.", "too_large")
        request = (parser_context or {}).get("request")
        claimed = request.META.get("CONTENT_LENGTH", "") if request is not None else ""
        if claimed.isdecimal() and len(claimed) < 20 and int(claimed) > limit:
            raise too_large
        body = stream.read(limit + 1)
        if len(body) > limit:
            raise too_large
        return read_json(body, max_values=self.max_values)


def read_json(body: bytes, *, max_values: int = MAX_VALUES) -> Any:
    """The value in `body`; raises ParseError as StrictJSONParser lists, whatever the bytes."""
    if body.startswith(b"\xef\xbb\xbf"):
        _refuse("byte_order_mark", "Send JSON without a byte order mark.")
    try:
        text = body.decode("utf-8")
    except UnicodeDecodeError as error:
        _refuse("bad_encoding", f"The body is not UTF-8 at byte {error.start}.")
    skeleton = _skeleton(text, max_values)
    _check_depth(skeleton)
    try:
        data = json.loads(
            text,
            object_pairs_hook=_object,
            parse_constant=_refuse_constant,
            parse_int=_integer,
            parse_float=_finite,
        )
    except json.JSONDecodeError as error:
        _refuse("bad_json", f"This is not JSON: {error.msg} (line {error.lineno}, column {error.colno}).")
    if _SUSPECT_ESCAPE.search(text):
        _check_escapes(text)
    return data


def _skeleton(text: str, max_values: int) -> str:
    """`text` with every string emptied: what is left tells how many values there are, and how deep."""
    # Two strings to a member. Quotes inside strings count too, so that looking for strings stays cheap.
    skeleton = _TEXT.sub('""', text) if text.count('"') <= 4 * max_values else None
    if skeleton is None or sum(map(skeleton.count, ",[{")) > max_values:
        _refuse("too_many_values", f"The body may hold at most {max_values} values.")
    return skeleton


def _check_depth(skeleton: str) -> None:
    depth = 0
    for bracket in _NOT_A_BRACKET.sub("", skeleton):
        depth += 1 if bracket in "[{" else -1
        if depth > MAX_DEPTH:
            _refuse("too_deep", f"Arrays and objects may be nested {MAX_DEPTH} deep at most.")


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members = dict(pairs)
    if len(members) < len(pairs):
        [(twice, _)] = Counter(name for name, _ in pairs).most_common(1)
        _refuse("duplicate_key", f"The key {twice[:64]!r} stands twice in one object.")
    return members


def _integer(digits: str) -> int:
    if len(digits.lstrip("-")) > MAX_DIGITS:
        _refuse("number_too_long", f"An integer may have at most {MAX_DIGITS} digits.")
    return int(digits)


def _finite(digits: str) -> float:
    number = float(digits)
    if math.isinf(number):
        _refuse("not_finite", "A number is larger than any that can be kept.")
    return number


def _refuse_constant(name: str) -> NoReturn:
    _refuse("not_a_number" if name == "NaN" else "not_finite", f"{name} is not a number in JSON.")


def _check_escapes(text: str) -> None:
    """Text already known to be JSON; looks at every escape in it."""
    good = _GOOD_ESCAPES.match(text)
    rest = text[good.end() :] if good else text
    if rest.startswith("\\u0000"):
        _refuse("nul_character", "A text may not hold the character U+0000.")
    if rest:
        _refuse("lone_surrogate", f"{rest[:6]} is half a character; the other half is missing.")


def _refuse(code: str, detail: str) -> NoReturn:
    raise ParseError(detail, code)
