"""Packets: as good as the logs themselves, counted once, withdrawn, and telling nobody anything else."""

import json
from typing import Any

import numpy as np
import pytest

from exposures.reciprocity.cells import KEYS, Cells, Logs
from exposures.reciprocity.packets import checksum, local, make_packet, merge, open_packet
from exposures.reciprocity.result import fit
from optics.core.faults import Impossible
from tests.exposures.reciprocity.made import club

NAMES = {key: f"catalogue paper {key}" for key in range(18)}
FAMILIES = {name: key % 3 for key, name in NAMES.items()}
HERE, THERE = b"a secret of this server", b"another server's secret"


def packet(
    seed: int = 1, *, secret: bytes = HERE, source: str = "club-1", revision: int = 1, least: int = 1
) -> dict[str, Any]:
    cells = Cells.from_logs(club(seed).logs)
    return make_packet(cells, source=source, revision=revision, secret=secret, papers=NAMES, least_logs=least)


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
    packed = fit(merge(sent), families=FAMILIES, warm=raw.theta, steps=False)
    assert packed.criterion == pytest.approx(raw.criterion, abs=1e-9)
    for key in range(18):
        a, b = raw.line(key), packed.line(NAMES[key])
        assert (b.speed, b.slope) == pytest.approx((a.speed, a.slope), abs=1e-9)
        assert b.covariance == pytest.approx(a.covariance, abs=1e-9)


def test_twice_is_once_and_a_later_revision_replaces() -> None:
    first, second = packet(1), packet(3, revision=2)
    once = merge([first])
    assert float(merge([first, first]).logs.sum()) == float(once.logs.sum())
    assert merge([second, first]).rows() == merge([second]).rows()
    assert len(merge([first], withdrawn=["club-1"])) == 0
    with pytest.raises(Impossible, match="same revision"):
        merge([first, packet(3)])


def test_own_logs_and_own_packet_share_their_pseudonyms() -> None:
    cells = Cells.from_logs(club(1).logs)
    own, back = local(cells, secret=HERE, papers=NAMES), open_packet(packet(1))
    for key in KEYS:
        assert getattr(own, key).tolist() == getattr(back, key).tolist()


def test_small_cells_and_unnamed_papers_stay_at_home() -> None:
    sent = packet(1, least=3)
    assert min(row[4] for row in sent["cells"]) >= 3
    assert sent["cells"]
    only = make_packet(
        Cells.from_logs(club(1).logs), source="s", revision=1, secret=HERE, papers={0: "zero"}, least_logs=1
    )
    assert {row[0] for row in only["cells"]} == {"zero"}


def test_nothing_else_is_told() -> None:
    assert set(packet()) == {"format", "version", "source", "revision", "least_logs", "columns", "cells", "checksum"}
    assert packet()["columns"] == ["paper", "camera", "member", "grade", "logs", "weight", "x", "xx", "y", "xy", "yy"]
    cameras = {row[1] for row in packet()["cells"]}
    assert all(len(name) == 24 for name in cameras)
    assert not cameras & {row[1] for row in packet(secret=THERE)["cells"]}


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"format": "x"}, "not_a_packet"),
        ({"version": 2}, "packet_version"),
        ({"source": 3}, "packet_source"),
        ({"revision": True}, "packet_source"),
        ({"columns": []}, "packet_columns"),
        ({"cells": "x"}, "packet_columns"),
        ({"cells": [[1]]}, "packet_cell"),
        ({"cells": [["p", "c", "m", "g", 3, 3, 1, 0.1, 1, 1, 1]]}, "packet_cell"),
        ({"cells": [["p", "c", "m", "g", 3, 3, float("nan"), 0, 1, 1, 1]]}, "packet_cell"),
        ({"least_logs": 0}, "packet_checksum"),
    ],
)
def test_damaged_packets_are_refused(change: dict[str, Any], code: str) -> None:
    with pytest.raises(Impossible) as caught:
        open_packet(packet() | change)
    assert caught.value.code == code


def test_an_empty_packet_is_a_packet() -> None:
    empty = packet(least=10_000)
    assert empty["cells"] == []
    assert len(merge([empty])) == 0
    assert empty["checksum"] == checksum(empty)
