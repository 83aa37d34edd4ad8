"""Packets: a club's statistics for clubs on other servers. Plain dictionaries for JSON, no reading or writing here.

A packet holds the additive sums of cells and nothing else: no places, dates, names or single times. Cameras and members
go under pseudonyms that only their own server can resolve; papers and grades under the names of the shared catalogue.
Cells with fewer than a minimum of logs stay at home. A later revision from the same source replaces the earlier, and
the same packet twice is once.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import math
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from exposures.reciprocity.cells import COLUMNS, KEYS, NO_CELLS, SUMS, Cells
from optics.core.faults import Impossible

FORMAT = "pinpool-reciprocity"
VERSION = 1
LEAST_LOGS = 3
#: What a packet's cell holds, in this order.
PACKED = (*KEYS, "logs", *SUMS)

Packet = dict[str, Any]


def make_packet(
    cells: Cells,
    *,
    source: str,
    revision: int,
    secret: bytes,
    papers: Mapping[Any, str],
    least_logs: int = LEAST_LOGS,
) -> Packet:
    """Pack cells under `source` (an identifier of the club that says nothing of it) and a growing `revision`.

    `papers` gives the catalogue name of every paper that may leave; others stay. `secret` keys the pseudonyms and never
    leaves the server. Grades are written as strings.
    """
    if len(secret) < 16:
        raise Impossible("secret_too_short", "Pseudonyms need a secret of at least 16 bytes.", "secret")
    named = Cells.from_columns(
        {
            **{name: getattr(cells, name) for name in COLUMNS},
            "paper": [papers.get(key, "") for key in cells.paper.tolist()],
            "camera": [pseudonym(secret, "camera", key) for key in cells.camera.tolist()],
            "member": [pseudonym(secret, "member", key) for key in cells.member.tolist()],
            "grade": [str(key) for key in cells.grade.tolist()],
        }
    )
    kept = named.where((named.logs >= least_logs) & (named.paper != "")) if len(named) else named
    rows = [list(row) for row in zip(*(getattr(kept, name).tolist() for name in PACKED), strict=True)]
    packet: Packet = {
        "format": FORMAT,
        "version": VERSION,
        "source": source,
        "revision": revision,
        "least_logs": least_logs,
        "columns": list(PACKED),
        "cells": rows,
    }
    packet["checksum"] = checksum(packet)
    return packet


def pseudonym(secret: bytes, kind: str, key: Any) -> str:
    """The same for the same key and secret, and not to be resolved without the secret."""
    return hmac.new(secret, f"{kind}:{key}".encode(), hashlib.sha256).hexdigest()[:24]


def checksum(packet: Packet) -> str:
    """SHA-256 of the packet's canonical JSON (sorted keys, no spaces, UTF-8), its checksum left out."""
    content = {name: value for name, value in packet.items() if name != "checksum"}
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def open_packet(packet: Any) -> Cells:
    """The cells of one packet, checked through and through; `Impossible` says what is wrong with it.

    A packet tells no single times, so the range of times of a cell is that of its mean, which never overstates it.
    """
    if not isinstance(packet, dict) or packet.get("format") != FORMAT:
        raise Impossible("not_a_packet", "This is not a packet of pooled statistics.", "format")
    if packet.get("version") != VERSION:
        raise Impossible("packet_version", f"Only packets of version {VERSION} can be read here.", "version")
    if not isinstance(packet.get("source"), str) or type(packet.get("revision")) is not int:
        raise Impossible("packet_source", "A packet needs a source and a whole-numbered revision.", "source")
    rows = packet.get("cells")
    if packet.get("columns") != list(PACKED) or not isinstance(rows, list):
        raise Impossible("packet_columns", f"A packet's cells must hold {', '.join(PACKED)}.", "columns")
    if not all(isinstance(row, list) and len(row) == len(PACKED) and _sound(row) for row in rows):
        raise Impossible("packet_cell", "A cell of this packet cannot be the sum of any logs.", "cells")
    if packet.get("checksum") != checksum(packet):
        raise Impossible("packet_checksum", "This packet was changed or damaged on its way.", "checksum")
    if not rows:
        return NO_CELLS
    columns: dict[str, Any] = dict(zip(PACKED, zip(*rows, strict=True), strict=True))
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.asarray(columns["x"], float) / np.asarray(columns["weight"], float)
    mean = np.where(np.isfinite(mean), mean, 0.0)
    return Cells.from_columns({**columns, "shortest_u": mean, "longest_u": mean})


def _sound(row: list[Any]) -> bool:
    """Whether a cell's sums could be those of weighted logs: signs, and Cauchy–Schwarz."""
    keys, numbers = row[: len(KEYS)], row[len(KEYS) :]
    if not all(isinstance(key, str) and 0 < len(key) <= 200 for key in keys):
        return False
    if not all(type(value) in {int, float} and abs(value) < 1e15 and math.isfinite(value) for value in numbers):
        return False
    logs, w, x, xx, y, xy, yy = (float(value) for value in numbers)
    slack = 1e-9 * (1 + xx + yy)
    return (
        logs >= 1
        and 0 <= w <= logs * (1 + 1e-9)
        and x >= 0
        and xx >= 0
        and yy >= 0
        and x * x <= w * xx + slack * (1 + w)
        and y * y <= w * yy + slack * (1 + w)
        and xy * xy <= xx * yy + slack * (1 + xx)
    )


def merge(packets: Iterable[Packet], *, withdrawn: Iterable[str] = ()) -> Cells:
    """All packets' cells in one. Of each source the highest revision counts, once; sources in `withdrawn` do not.

    Two different packets of one source with the same revision are refused.
    """
    gone = set(withdrawn)
    latest: dict[str, tuple[int, str, Cells]] = {}
    for packet in packets:
        cells = open_packet(packet)
        source = packet["source"]
        before = latest.get(source)
        if before is not None and before[0] == packet["revision"] and before[1] != packet["checksum"]:
            raise Impossible(
                "packet_twice", f"Two different packets call themselves {source}, same revision.", "source"
            )
        if source not in gone and (before is None or packet["revision"] > before[0]):
            latest[source] = (packet["revision"], packet["checksum"], cells)
    total = NO_CELLS
    for source in sorted(latest):
        total = total + latest[source][2]
    return total


def local(cells: Cells, *, secret: bytes, papers: Mapping[Any, str]) -> Cells:
    """The club's own cells under the names that packets use, ready to be added to others'; times' range is kept."""
    columns = {name: getattr(cells, name) for name in COLUMNS}
    renamed = {
        "paper": [papers.get(key, f"local:{key}") for key in cells.paper.tolist()],
        "camera": [pseudonym(secret, "camera", key) for key in cells.camera.tolist()],
        "member": [pseudonym(secret, "member", key) for key in cells.member.tolist()],
        "grade": [str(key) for key in cells.grade.tolist()],
    }
    return Cells.from_columns({**columns, **renamed})
