"""Headers, paths and queries that no browser sends: each is answered, and none with the service's own fault."""

from string import printable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinpool.models import ApiToken
from tests.clubs.test_api import Here
from tests.fuzz.asking import ask
from tests.fuzz.effort import tries

FORM = b'--x\r\nContent-Disposition: form-data; name="kind"\r\n\r\ncameras\r\n--x--\r\n'
#: What a header's value is made of; Latin-1, as servers hand it on.
PIECES = [
    "application/json", "multipart/form-data; boundary=x", "text/html", "*/*", ";", ",", "=", " ", "q=nan", "charset=",
    "hex", "undefined", "utf-7", "idna", "x*=", "charset*=", "boundary*=", "x*0*=", "''", "%41", "%ff", "%00", "+2AA-",
    '"', "\\000", "bytes=", "-", "99999999999999999999", "²", "ÿ", "\xed\xa0\x80", "Sun, 06 Nov 1994 08:49:37 GMT",
    "+99999999999", "http://[", "::1", "localhost", ":", "null", "W/", '"r1"', "*", "Bearer ", "sessionid=",
    "aaaaaaaa",
    "csrftoken=", "messages=", "pinpool_look=", "gzip", "100-continue", "chunked",
]  # fmt: skip
VALUES = st.lists(
    st.one_of(st.sampled_from(PIECES), st.text("\x00\x01\t" + printable + "ÿ", max_size=4)), max_size=8
).map("".join)
NAMES = [
    "CONTENT_TYPE", "CONTENT_LENGTH", "HTTP_ACCEPT", "HTTP_ACCEPT_LANGUAGE", "HTTP_ACCEPT_ENCODING", "HTTP_COOKIE",
    "HTTP_AUTHORIZATION", "HTTP_HOST", "HTTP_ORIGIN", "HTTP_REFERER", "HTTP_RANGE", "HTTP_EXPECT", "HTTP_IF_MATCH",
    "HTTP_IF_NONE_MATCH", "HTTP_IF_MODIFIED_SINCE", "HTTP_X_FORWARDED_FOR", "HTTP_X_FORWARDED_PROTO",
    "HTTP_X_REQUEST_ID", "HTTP_X_CSRFTOKEN", "HTTP_TRANSFER_ENCODING", "REMOTE_ADDR",
]  # fmt: skip
METHODS = ["GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "CONNECT", "SEARCH", "get", "\xff"]
QUERY = st.lists(
    st.one_of(
        st.sampled_from(
            ["fields=", "cursor=", "page_size=", "lengths=", "camera=", "lent=", "kind=", "subject=", "ev="]
        ),
        st.sampled_from(
            ["&", "=", "%", "%00", "%ff", "%41", "%ed%a0%80", "+", "²", "+2AA-", "Zjp4", "true", ";", "id,id"]
        ),
        st.text(max_size=3).map(lambda text: text.encode("utf-8", "replace").decode("latin-1")),
    ),
    max_size=6,
).map("".join)


@pytest.fixture
def key(here: Here, one_connection: None) -> dict[str, str]:
    _, secret = ApiToken.issue(user=here.members["keeper"].user, name="fuzz")
    return {"HTTP_AUTHORIZATION": f"Bearer {secret}"}


def targets(here: Here) -> list[tuple[str, str, bytes]]:
    """Calls of every kind: pages, files, lists, changes, forms."""
    return [
        ("GET", "/", b""), ("GET", "/static/pinpool/pinpool.css", b""),
        ("GET", f"{here.at}exposures/", b""), ("GET", f"{here.at}cameras/T1/", b""), ("GET", f"{here.at}trail/", b""),
        ("GET", f"{here.at}export/", b""), ("GET", f"/api/v1/embed/{here.club.slug}/", b""),
        ("POST", "/api/v1/accounts/login/", b"{}"), ("POST", "/api/v1/optics/light/", b'{"reading": {"ev": 9}}'),
        ("PATCH", f"{here.at}cameras/T1/", b'{"note": "new lid"}'), ("POST", f"{here.at}imports/", FORM),
        ("POST", "/api/v1/optics/hole-scan/", FORM), ("GET", f"/clubs/{here.club.slug}/cameras/", b""),
        ("POST", "/admin/login/", b"username=a&password=b"), ("GET", f"/api/v1/places/{here.place.code}/", b""),
    ]  # fmt: skip


def test_any_header(here: Here, key: dict[str, str]) -> None:
    odd = st.dictionaries(st.sampled_from(NAMES), VALUES, min_size=1, max_size=2)

    @tries(60, 15_000)
    @given(target=st.sampled_from(targets(here)), odd=odd, query=QUERY, signed_in=st.booleans())
    def answered(target: Any, odd: dict[str, str], query: str, signed_in: bool) -> None:
        method, path, body = target
        usual = {"CONTENT_TYPE": "multipart/form-data; boundary=x" if body == FORM else "application/json"}
        ask(method, path, query=query, body=body, **usual | (key if signed_in else {}) | odd)

    answered()


def test_any_path(here: Here, key: dict[str, str]) -> None:
    steps = st.one_of(
        st.sampled_from(["api", "v1", "clubs", here.club.slug, "cameras", "T1", "members", "static", "admin", "embed"]),
        st.sampled_from(
            ["", ".", "..", "*", "\0", "\xff", "\xed\xa0\x80", "9" * 30, "9" * 5000, "²", "\n", "%00", "a" * 9000]
        ),
        st.sampled_from(
            [
                "places",
                "invitations",
                "place",
                "join",
                "optics",
                "field",
                "workshops",
                "papers",
                "export",
                "docs",
                "favicon.ico",
                "health",
            ]
        ),
        st.text(max_size=4).map(lambda text: text.encode("utf-8", "replace").decode("latin-1")),
    )

    @tries(100, 6000)
    @given(method=st.sampled_from(METHODS), path=st.lists(steps, max_size=7), query=QUERY)
    def answered(method: str, path: list[str], query: str) -> None:
        ask(method, "/" + "/".join(path), query=query, **key)

    answered()


@pytest.mark.parametrize(
    "said",
    [
        "application/json; charset=hex", "application/json; charset=undefined", "application/json; charset=idna",
        "application/json; charset=punycode", "application/json; charset=utf-7", "application/json; charset=\0",
        "application/json; x*=bogus''y", "application/json; x*=undefined''%41",
        "application/json; charset*=utf-7''+2AA-",
    ],
)  # fmt: skip
def test_a_body_is_utf_8_in_whatever_charset_it_claims_to_be(here: Here, key: dict[str, str], said: str) -> None:
    """Python knows names of charsets that it cannot read texts in."""
    assert ask("GET", "/", query="a=%41", CONTENT_TYPE=said) == 200
    assert ask("GET", f"{here.at}exposures/", query="camera=%41+2AA-", CONTENT_TYPE=said, **key) == 200
    body = '{"slug": "brook", "name": "Bröok"}'.encode()
    assert ask("POST", "/api/v1/clubs/", body=body, CONTENT_TYPE=said, **key) in {201, 409}


def test_a_form_keeps_its_boundary(here: Here, key: dict[str, str]) -> None:
    for said in ('multipart/form-data; charset=hex; boundary="x"', "multipart/form-data;boundary=x;charset=utf-7"):
        assert ask("POST", f"{here.at}imports/", body=FORM, CONTENT_TYPE=said, **key) == 400  # a form without its file
