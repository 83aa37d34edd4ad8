"""Packets of other servers: bent ones are refused, odd ones that could be true leave an answer to every call."""

import json
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from exposures.reciprocity.cells import Cells
from exposures.reciprocity.packets import KEYS_OF_PACKET, PACKED, checksum, make_packet, open_packet
from tests.bodies import PACKET
from tests.clubs.test_api import Here
from tests.fuzz.effort import tries
from tests.fuzz.hostile import bent

PAPERS = {"cordgrass|graded paper": 6.0, "samphire|graded paper": 12.0}
#: Single logs: times from a millisecond to a year, and effects far from and near to what light would do.
LOGS = st.lists(
    st.tuples(
        st.sampled_from(list(PAPERS)), st.sampled_from(["camera", "tin"]), st.sampled_from(["ada", "finn", "🐚"]),
        st.sampled_from(["judged", "bracketed", "densitometer"]), st.floats(0, 25), st.floats(-60, 60), st.integers(1,
        9),
    ),
    min_size=1, max_size=8,
)  # fmt: skip
#: What reckons with the log.
RECKONED = [
    "reciprocity/", "reciprocity/model/", "reciprocity/cameras/", "reciprocity/members/", "catalogue/", "doubts/",
    "comparison/?by=camera", "comparison/?by=member", "next-tests/", "field-kit/", "packets/", "packets/own/",
]  # fmt: skip


def cells_of(logs: list[Any]) -> Cells:
    rows = [
        (paper, camera, member, grade, n, n, n * x, n * x * x, n * y, n * x * y, n * y * y, x, x)
        for paper, camera, member, grade, x, y, n in logs
    ]
    return Cells.from_rows(rows)


def packed(logs: list[Any], **more: Any) -> dict[str, Any]:
    facts: dict[str, Any] = {"source": "somewhere", "revision": 1, "secret": b"the invented secret of a test", **more}
    return make_packet(cells_of(logs), papers=PAPERS, least_logs=1, **facts)


@tries(60, 20_000)
@given(logs=LOGS, revision=st.integers(0, 2**31 - 1), source=st.text(min_size=1, max_size=100))
def test_a_packet_comes_back_as_it_went(logs: list[Any], revision: int, source: str) -> None:
    """Written as JSON, read, opened and packed again."""
    sent = json.loads(json.dumps(packed(logs, revision=revision, source=source)))
    opened = open_packet(sent)
    assert (opened.source, opened.revision, opened.checksum) == (source, revision, sent["checksum"])
    assert opened.indices == sent["papers"]
    columns = [getattr(opened.cells, name).tolist() for name in PACKED]
    assert sorted(map(list, zip(*columns, strict=True))) == sorted(sent["cells"])


@tries(40, 6000)
@given(packet=bent(PACKET, most=2).filter(lambda packet: packet != PACKET))
def test_a_changed_packet_is_told_by_its_checksum(here: Here, packet: Any) -> None:
    answer = here.clients["keeper"].post(f"{here.at}packets/", json.dumps(packet), content_type="application/json")
    assert answer.status_code in {400, 422}, answer.content


@tries(20, 2000)
@given(packet=bent(packed([("cordgrass|graded paper", "camera", "ada", "judged", 6.0, 9.0, 4)]), most=3))
def test_bent_packets_signed_anew(here: Here, packet: Any) -> None:
    if isinstance(packet, dict) and packet.keys() == KEYS_OF_PACKET:
        packet["checksum"] = checksum(packet)
    client = here.clients["keeper"]
    answer = client.post(f"{here.at}packets/", json.dumps(packet), content_type="application/json")
    assert answer.status_code in {200, 201, 400, 409, 422}, answer.content
    if answer.status_code in {200, 201}:
        reckoned(here)


@tries(4, 800)
@given(logs=LOGS, revision=st.integers(1, 2**31 - 1))
def test_any_sums_leave_answers(here: Here, logs: list[Any], revision: int) -> None:
    client = here.clients["keeper"]
    answer = client.post(f"{here.at}packets/", packed(logs, source=f"club {revision}", revision=revision))
    assert answer.status_code in {201, 409, 422}, answer.content
    reckoned(here)


def reckoned(here: Here) -> None:
    """Everything that is reckoned from the log is answered, whatever came with a packet."""
    client = here.clients["keeper"]
    for path in RECKONED:
        answer = client.get(here.at + path)
        assert answer.status_code == 200, (path, answer.content)
    body = here.bodies["recommendation/"]
    assert client.post(f"{here.at}recommendation/", body).status_code in {200, 422}
