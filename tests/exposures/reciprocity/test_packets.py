"""Packets: as good as the logs themselves, and telling nobody anything else."""

import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from exposures.reciprocity.cells import KEYS, Cells, Logs
from exposures.reciprocity.packets import checksum, make_packet, open_packet
from exposures.reciprocity.result import fit
from optics.core.faults import Impossible
from tests.exposures.reciprocity.made import club

NAMES = {key: f"catalogue paper {key}" for key in range(18)}
INDICES = dict.fromkeys(NAMES.values(), 6.0)
FAMILIES = {name: key % 3 for key, name in NAMES.items()}
HERE, THERE = b"a secret of this server", b"another server's secret"


def packet(
    seed: int = 1, *, secret: bytes = HERE, source: str = "club-1", revision: int = 1, least: int = 1
) -> dict[str, Any]:
    return make_packet(
        named(club(seed).logs), source=source, revision=revision, secret=secret, papers=INDICES, least_logs=least
    )


def named(logs: Logs) -> Cells:
    return Cells.from_logs(replace(logs, paper=np.array([NAMES[key] for key in logs.paper.tolist()])))


def test_a_fit_from_packets_is_the_fit_from_the_logs() -> None:
    """To 1e-9 in the criterion and in every paper's line, after a journey through JSON."""
    one, two = club(1), club(2)
    sent = json.loads(json.dumps([packet(1), packet(2, secret=THERE, source="club-2")]))
    joined = Logs(
        *(
            np.concatenate([getattr(one.logs, n), getattr(two.logs, n) + shift])
            for n, shift in zip((*KEYS, "u", "z"), (0, 100, 100, 0, 0, 0), strict=True)
        )
    )
    raw = fit(Cells.from_logs(joined), families=one.families)
    packed = fit(
        open_packet(sent[0]).cells + open_packet(sent[1]).cells, families=FAMILIES, warm=raw.theta, steps=False
    )
    assert packed.criterion == pytest.approx(raw.criterion, abs=1e-9)
    for key in range(18):
        a, b = raw.line(key), packed.line(NAMES[key])
        assert (b.speed, b.slope) == pytest.approx((a.speed, a.slope), abs=1e-9)
        assert b.covariance == pytest.approx(a.covariance, abs=1e-9)


def test_small_cells_and_unnamed_papers_stay_at_home() -> None:
    sent = packet(1, least=3)
    assert min(row[4] for row in sent["cells"]) >= 3
    assert sent["cells"]
    only = make_packet(named(club(1).logs), source="s", revision=1, secret=HERE, papers={NAMES[0]: 6.0}, least_logs=1)
    assert {row[0] for row in only["cells"]} == {NAMES[0]} == only["papers"].keys()


def test_nothing_else_is_told() -> None:
    assert set(packet()) == {
        "format", "version", "source", "revision", "least_logs", "papers", "columns", "cells", "checksum",
    }  # fmt: skip
    assert packet()["columns"] == ["paper", "camera", "member", "grade", "logs", "weight", "x", "xx", "y", "xy", "yy"]
    cameras = {row[1] for row in packet()["cells"]}
    assert all(len(name) == 24 for name in cameras)
    assert not cameras & {row[1] for row in packet(secret=THERE)["cells"]}


def cell(*sums: float) -> dict[str, Any]:
    return {"papers": {"p": 6.0}, "cells": [["p", "c", "m", "g", *sums]]}


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"format": "x"}, "not_a_packet"),
        ({"version": 2}, "packet_version"),
        ({"colour": 1}, "packet_keys"),
        ({"least_logs": "3"}, "packet_least_logs"),
        ({"source": 3}, "packet_source"),
        ({"source": ""}, "packet_source"),
        ({"revision": True}, "packet_revision"),
        ({"revision": -1}, "packet_revision"),
        ({"columns": []}, "packet_columns"),
        ({"cells": "x"}, "packet_columns"),
        ({"cells": [[1]]}, "packet_cell"),
        ({"papers": ["p"]}, "packet_papers"),
        ({"papers": {}}, "packet_papers"),
        (cell(3, 3, 1, 0.1, 1, 1, 1), "packet_cell"),
        (cell(1e9, 1e9, 0, 0, 0, 0, 0), "packet_cell"),
        (cell(1, 1, 0, 0, 1e6, 0, 1e12), "packet_cell"),
        (cell(1, 1, 100, 10_000, 0, 0, 0), "packet_cell"),
        (cell(3, 3, 3, 3, 3, 3, 3) | {"papers": {"p": 0}}, "packet_index"),
        (cell(3, 3, 3, 3, 3, 3, 3) | {"papers": {"p": True}}, "packet_index"),
    ],
)
def test_what_nobody_honest_sends_is_refused(change: dict[str, Any], code: str) -> None:
    """Also with a checksum that fits."""
    bad = packet() | change
    with pytest.raises(Impossible) as caught:
        open_packet(bad | {"checksum": checksum(bad)})
    assert caught.value.code == code


def test_damaged_packets_are_refused() -> None:
    with pytest.raises(Impossible) as caught:
        open_packet(packet() | {"least_logs": 0})
    assert caught.value.code == "packet_checksum"


def test_doubted_logs_fill_no_cell() -> None:
    """A cell whose every log was taken off again holds nothing but rounding, and stays at home."""
    logs = club(1).logs
    cells = named(logs)
    gone = named(logs)
    gone = replace(gone, weight=-gone.weight, **{name: -getattr(gone, name) for name in ("x", "xx", "y", "xy", "yy")})
    left = cells + replace(gone, logs=np.zeros(len(gone)))
    assert make_packet(left, source="s", revision=1, secret=HERE, papers=INDICES, least_logs=1)["cells"] == []


def test_a_packet_of_more_than_a_club_can_have_is_refused() -> None:
    """The time of a fit grows with the cube of its papers and members."""
    row = ["p", "camera", "member", "judged", 3, 3, 3, 3, 3, 3, 3]
    several = {
        name: [[*row[:at], f"{n}", *row[at + 1 :]] for n in range(501)] for at, name in ((0, "paper"), (2, "who"))
    }
    several["logs"] = [[*row[:1], f"{n}", *row[2:4], 9e6, *row[5:]] for n in range(2)]
    for rows in several.values():
        bad = packet() | {"cells": rows, "papers": dict.fromkeys({each[0] for each in rows}, 6.0)}
        with pytest.raises(Impossible) as caught:
            open_packet(bad | {"checksum": checksum(bad)})
        assert caught.value.code == "packet_too_large"


def test_an_empty_packet_is_a_packet() -> None:
    empty = packet(least=10_000)
    assert empty["cells"] == []
    assert len(open_packet(empty).cells) == 0
    assert empty["checksum"] == checksum(empty)
