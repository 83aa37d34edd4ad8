"""The strict JSON parser: each hostile body has its code; every other body reads as the library reads it."""

import json
from io import BytesIO
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rest_framework.exceptions import ParseError
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.test import APIRequestFactory
from rest_framework.views import APIView

from pinpool.http.parsers import MAX_DEPTH, MAX_DIGITS, MAX_VALUES, StrictJSONParser, read_json

REFUSED = [
    ("byte_order_mark", b'\xef\xbb\xbf{"a": 1}'),
    ("bad_encoding", b'{"a": "\xff"}'),
    ("bad_encoding", '{"a": "é"}'.encode("latin-1")),
    ("bad_encoding", '{"a": 1}'.encode("utf-16")),
    ("bad_encoding", b'"\xed\xa0\x80"'),  # a surrogate written as bytes
    ("bad_encoding", b'"\xc0\x80"'),  # an overlong U+0000
    ("bad_json", b""),
    ("bad_json", b"  "),
    ("bad_json", b"{"),
    ("bad_json", b'{"a": 1} x'),
    ("bad_json", b'{"a": 1}{"a": 1}'),
    ("bad_json", b"{'a': 1}"),
    ("bad_json", b"{a: 1}"),
    ("bad_json", b"[1,]"),
    ("bad_json", b"[1] // why"),
    ("bad_json", b"01"),
    ("bad_json", b"+1"),
    ("bad_json", b".5"),
    ("bad_json", b"0x10"),
    ("bad_json", b"1_000"),
    ("bad_json", b"True"),
    ("bad_json", b'"a\nb"'),
    ("bad_json", b'"a\x00b"'),
    ("bad_json", b'"\\x41"'),
    ("bad_json", b'"open'),
    ("bad_json", b'"' + b'\\"' * 1000),
    ("bad_json", '{"a": 1}'.encode("utf-16-le")),
    ("bad_json", b"[}" * 1000),
    ("bad_json", "[١]".encode()),
    ("too_deep", b"[" * 100),
    ("too_deep", b"[" * (MAX_DEPTH + 1) + b"]" * (MAX_DEPTH + 1)),
    ("too_deep", b'{"a":' * (MAX_DEPTH + 1) + b"1" + b"}" * (MAX_DEPTH + 1)),
    ("too_many_values", b"[" * 900_000),
    ("too_many_values", b"[" + b"1," * MAX_VALUES + b"1]"),
    ("too_many_values", b'"' * 900_000),
    ("not_a_number", b'{"a": NaN}'),
    ("not_finite", b"[Infinity]"),
    ("not_finite", b"[-Infinity]"),
    ("not_finite", b'{"a": 1e999}'),
    ("not_finite", b"-1E+400"),
    ("not_finite", b"9" * 400 + b".5"),
    ("number_too_long", b"1" * (MAX_DIGITS + 1)),
    ("number_too_long", b"[-" + b"1" * 100_000 + b"]"),
    ("duplicate_key", b'{"a": 1, "a": 1}'),
    ("duplicate_key", b'{"b": [{"a": 1, "\\u0061": 2}]}'),
    ("nul_character", b'"\\u0000"'),
    ("nul_character", b'{"a\\u0000": 1}'),
    ("nul_character", b'"\\\\\\u0000"'),
    ("lone_surrogate", b'"\\ud800"'),
    ("lone_surrogate", b'"\\uDFFF"'),
    ("lone_surrogate", b'"\\ude00\\ud83d"'),
    ("lone_surrogate", b'"\\ud83d\\\\ude00"'),
    ("lone_surrogate", b'"\\ud83d\\ud83d\\ude00"'),
    ("lone_surrogate", b'{"\\ud800": 1}'),
]
READ = [
    b"{}",
    b" [1, 2.5, -3e-2, true, false, null] ",
    b'"\\ud83d\\ude00 \\u00e9 \\\\u0000 \\\\ud800 \\n \\" \\/"',
    '{"größe": "½ in", "b": "[[[{{{"}'.encode(),
    b"[" * MAX_DEPTH + b"]" * MAX_DEPTH,
    b'"' + b"[" * 10_000 + b'"',
    b'["NaN", "1e999", "' + b"1" * 200 + b'"]',
    b"-" + b"1" * MAX_DIGITS,
    b'[{"a": 1}, {"a": 2}]',
    b"1e308",
    b"1e-999",
    b"[" + b"1," * (MAX_VALUES - 2) + b"1]",
]


def code_of(body: bytes) -> str | None:
    try:
        read_json(body)
    except ParseError as error:
        return str(error.detail.code)
    return None


@pytest.mark.parametrize(("code", "body"), REFUSED, ids=lambda value: ascii(value)[:40])
def test_refused(code: str, body: bytes) -> None:
    with pytest.raises(ParseError) as caught:
        read_json(body)
    assert caught.value.detail.code == code
    assert str(caught.value.detail).endswith(".")
    assert str(caught.value.detail).isprintable()


@pytest.mark.parametrize("body", READ, ids=lambda value: ascii(value)[:40])
def test_read_as_the_library_reads_it(body: bytes) -> None:
    assert read_json(body) == json.loads(body)


PLAIN_TEXT = st.text(st.characters(exclude_characters="\x00", exclude_categories=["Cs"]))
DATA = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**60), 10**60)
    | st.floats(allow_nan=False, allow_infinity=False)
    | PLAIN_TEXT,
    lambda inner: st.lists(inner) | st.dictionaries(PLAIN_TEXT, inner),
    max_leaves=20,
)


@given(data=DATA, escaped=st.booleans(), indent=st.none() | st.just(2))
@settings(derandomize=True)
def test_whatever_can_be_stored_is_read(data: Any, escaped: bool, indent: int | None) -> None:
    assert read_json(json.dumps(data, ensure_ascii=escaped, indent=indent).encode()) == data


@given(text=st.text(st.characters(categories=["L", "Cs"], include_characters='\x00\\"u0d8')))
@settings(derandomize=True, max_examples=500)
def test_texts_read_are_texts_a_database_can_hold(text: str) -> None:
    body = json.dumps(text).encode()
    storable = "\x00" not in text
    try:
        json.loads(body).encode()
    except UnicodeEncodeError:
        storable = False
    assert (code_of(body) is None) == storable


TOKENS = [
    b"[",
    b"]",
    b"{",
    b"}",
    b":",
    b",",
    b'"',
    b"\\",
    b"\\u",
    b"d800",
    b"0000",
    b"1",
    b"e999",
    b".",
    b"-",
    b"a",
]


@given(body=st.binary(max_size=40) | st.lists(st.sampled_from(TOKENS), max_size=40).map(b"".join))
@settings(derandomize=True, max_examples=1000)
def test_any_bytes_are_read_or_refused(body: bytes) -> None:
    if code_of(body) is None:
        assert read_json(body) == json.loads(body)


# ---- within a request


class Echo(APIView):
    authentication_classes = ()
    permission_classes = ()
    parser_classes = (StrictJSONParser,)

    def post(self, request: Request) -> Response:
        return Response({"data": request.data})


def post(body: bytes, content_type: str = "application/json", **headers: Any) -> Response:
    request = APIRequestFactory().generic("POST", "/", body, content_type, **headers)
    return Echo.as_view()(request)


@pytest.mark.parametrize(("code", "body"), [case for case in REFUSED if case[1]], ids=lambda value: ascii(value)[:40])
def test_a_refusal_is_a_400(code: str, body: bytes) -> None:
    response = post(body)
    assert response.status_code == 400
    response.render()


@pytest.mark.parametrize("content_type", ["application/json", "application/json; charset=latin-1"])
def test_a_body_is_utf_8_whatever_it_claims(content_type: str) -> None:
    assert post('{"a": "é"}'.encode(), content_type).data == {"data": {"a": "é"}}


def test_other_media_types_are_refused() -> None:
    assert post(b"<a/>", "text/xml").status_code == 415


def test_size_limit(settings: Any) -> None:
    settings.PINPOOL = {"MAX_BODY_BYTES": 10}
    assert post(b'"12345678"').data == {"data": "12345678"}
    assert post(b'"123456789"').status_code == 413
    assert post(b'"12345678"', CONTENT_LENGTH="11").status_code == 413


def test_a_body_claimed_too_large_is_not_read() -> None:
    class Unread(BytesIO):
        def read(self, *_: object) -> bytes:
            raise AssertionError("read")

    request = APIRequestFactory().post("/", b"{}", content_type="application/json")
    request.META["CONTENT_LENGTH"] = "1000001"
    with pytest.raises(ParseError) as caught:
        StrictJSONParser().parse(Unread(), parser_context={"request": request})
    assert (caught.value.status_code, caught.value.detail.code) == (413, "too_large")


@pytest.mark.parametrize("claimed", ["", "-5", "many", "1e3"])
def test_a_size_claim_that_is_no_number_is_ignored(claimed: str) -> None:
    request = APIRequestFactory().post("/", b"{}", content_type="application/json")
    request.META["CONTENT_LENGTH"] = claimed
    assert StrictJSONParser().parse(BytesIO(b"{}"), parser_context={"request": request}) == {}


def test_more_than_was_claimed_is_refused() -> None:
    with pytest.raises(ParseError) as caught:
        StrictJSONParser().parse(BytesIO(b" " * 1_000_001))
    assert caught.value.detail.code == "too_large"
