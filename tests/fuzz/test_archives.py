"""Archives bent, cut off and made of anything: a club comes of one, or a refusal, and what came can be shown."""

import json
from typing import Any

import orjson
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.exposures.archives import Made, send, signed
from tests.fuzz.effort import tries
from tests.fuzz.hostile import bent
from tests.problems import faults_in

#: What shows all of a club.
SHOWN = [
    "", "cameras/", "papers/", "exposures/", "designs/", "workshops/", "sheets/", "trail/", "paper-merges/",
    "reciprocity/",
    "reciprocity/cameras/", "comparison/?by=camera", "catalogue/", "next-tests/", "doubts/", "field-kit/",
    "packets/own/",
    "export/?what=exposures", "export/?what=cameras", "export/?what=papers", "export/archive/?pictures=included",
]  # fmt: skip


@pytest.fixture
def made(as_user: Any) -> Made:
    return Made(as_user)


def test_bent_archives(made: Made, as_user: Any) -> None:
    """Signed anew, so that the checksum is no shelter."""
    good = made.archive()
    good["members"] = good["members"][:2]
    keeper = as_user()
    slugs = iter(range(10**9))

    @tries(12, 1500)
    @given(told=bent(good))
    def come_or_are_refused(told: Any) -> None:
        slug = f"creek-{next(slugs)}"
        told = orjson.loads(json.dumps(told))  # as a file says it: large integers come out of one as floats
        answer = send(keeper, signed(told) if isinstance(told, dict) else told, slug=slug)
        assert answer.status_code in {201, 400, 409, 422}, answer.content
        for path in SHOWN if answer.status_code == 201 else ():
            shown = keeper.get(f"/api/v1/clubs/{slug}/{path}")
            assert shown.status_code == 200, (path, shown.content)
            _ = b"".join(shown) if shown.streaming else shown.content

    come_or_are_refused()


def test_broken_files(made: Made, as_user: Any) -> None:
    good, keeper = orjson.dumps(made.archive()), as_user()

    @tries(15, 2000)
    @given(
        cut=st.integers(0, len(good)), at=st.integers(0, len(good)),
        put=st.one_of(st.binary(max_size=6), st.sampled_from([b"[" * 2000, b"\0", b"1e400", b"NaN", b'"\\ud800"'])),
    )  # fmt: skip
    def are_refused(cut: int, at: int, put: bytes) -> None:
        data = (good[:at] + put + good[at:])[:cut]
        assert send(keeper, data, slug="elsewhere").status_code in {201, 400, 409, 422}

    are_refused()


@pytest.mark.parametrize("version", [[], {}, None, "2", 1.5, True])
def test_versions_that_are_none(made: Made, version: Any) -> None:
    assert faults_in(send(made.client, signed(made.archive() | {"version": version})), 422) == {
        ("/file", "archive_version")
    }
