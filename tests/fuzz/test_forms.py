"""Forms that no browser sends: parts without ends, names and kinds that are none, files in the place of texts."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinpool.models import ApiToken
from tests.bodies import PICTURE, SHEET
from tests.clubs.test_api import Here
from tests.fuzz.asking import ask
from tests.fuzz.effort import tries

PIECES = [
    b"--x", b"--x--", b"\r\n", b"\n", b"\r\n\r\n", b"Content-Disposition: form-data", b'; name="file"',
    b'; name="kind"',
    b'; name="image"', b'; name="resolution"', b'; filename="a.csv"', b'; filename=""', b"; filename*=utf-8''%00%ff",
    b"; name*0*=x",
    b"; filename*=bogus''a", b'; filename="../../etc/passwd"', b'; filename="a\\"b\r\nX: y"',
    b"; name*=undefined''%41", b"; name=",
    b"Content-Type: image/png", b"Content-Type: text/plain; charset=hex",
    b"Content-Type: multipart/mixed; boundary=x", b"cameras",
    b"Content-Transfer-Encoding: base64", b"Content-Transfer-Encoding: quoted-printable", b"Content-Length: -1",
    b"exposures", b"=",
    b"\0", b"\xff", b"\xed\xa0\x80", b"a" * 9000, b"%", b"4800 dpi", b"caption", SHEET, PICTURE, b"x" * 70_000,
]  # fmt: skip
START = b'--x\r\nContent-Disposition: form-data; name="'
FIELDS = st.sampled_from(
    [b"kind", b"file", b"image", b"resolution", b"caption", b"slug", b"name", b"encoding", b"\xff", b""]
)
PART = st.builds(
    lambda name, more, body: START + name + b'"' + more + b"\r\n\r\n" + body + b"\r\n",
    FIELDS,
    st.sampled_from(
        [b"", b'; filename="a.csv"', b"; filename*=utf-8''%00", b'; filename="a"\r\nContent-Type: a/b; charset=hex']
    ),
    st.sampled_from([b"cameras", b"4800 dpi", b"utf-8", b"\0", b"\xff", b"", SHEET, PICTURE]),
)
BODIES = st.one_of(
    st.lists(st.one_of(st.sampled_from(PIECES), st.binary(max_size=4)), max_size=14).map(b"".join),
    st.lists(PART, max_size=5).map(lambda parts: b"".join(parts) + b"--x--\r\n"),
)


@pytest.fixture
def key(here: Here, one_connection: None) -> dict[str, str]:
    _, secret = ApiToken.issue(user=here.members["keeper"].user, name="fuzz")
    return {"HTTP_AUTHORIZATION": f"Bearer {secret}", "HTTP_IF_MATCH": "*"}


def test_any_form(here: Here, key: dict[str, str]) -> None:
    taken = [
        ("POST", "/api/v1/optics/hole-scan/"), ("POST", f"{here.at}imports/"), ("POST",
        f"{here.at}cameras/T1/photos/"),
        ("PUT", f"{here.at}exposures/{here.log.id}/picture/"), ("POST", "/api/v1/clubs/import-archive/"),
        ("POST", f"/api/v1/places/{here.place.code}/hole-scan/"),
    ]  # fmt: skip
    kinds = ["multipart/form-data; boundary=x", 'multipart/form-data; boundary="x"', "multipart/form-data",
    "multipart/mixed; boundary=x",
             "multipart/form-data; boundary=" + "x" * 300, "multipart/form-data; boundary=\xff", "application/json",
             ""]  # fmt: skip

    @tries(80, 15_000)
    @given(
        call=st.sampled_from(taken), kind=st.sampled_from([*kinds[:1] * 8, *kinds]), body=BODIES, off=st.integers(-3, 3)
    )
    def answered(call: Any, kind: str, body: bytes, off: int) -> None:
        length = str(len(body) + off if off in {-1, 2} else len(body))
        ask(*call, body=body, CONTENT_TYPE=kind, **key | {"CONTENT_LENGTH": length})

    answered()
