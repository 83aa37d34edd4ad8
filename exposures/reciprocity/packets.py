"""Packets: a club's statistics for clubs on other servers. Plain dictionaries for JSON, no reading or writing here.

A packet holds the additive sums of cells and nothing else: no places, dates, names or single times. Cameras and members
go under pseudonyms that only their own server can resolve; papers and grades under the names of the shared catalogue.
Cells with fewer than a minimum of logs stay at home; doubted ones do not make up the number. A later revision from the
same source takes the earlier one's place; whoever keeps both can tell what was added between them, if only as sums.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from exposures.reciprocity.cells import COLUMNS, KEYS, NO_CELLS, SUMS, Cells, totals
from optics.core.faults import Impossible

FORMAT = "pinpool-reciprocity"
VERSION = 1
LEAST_LOGS = 3
#: More logs than this in all, or times or effects farther from a second, are nobody's honest sums.
MOST_LOGS, FARTHEST_STOPS = 1e7, 64.0
#: One club has fewer papers and members, people without an account among them, of whom those with the most logs go
#: along. The time of a fit grows with the cube of them.
MOST_PAPERS, MOST_MEMBERS = 500, 500
#: What a packet's cell holds, in this order.
PACKED = (*KEYS, "logs", *SUMS)
KEYS_OF_PACKET = {
    "format", "version", "source", "revision", "least_logs", "papers", "columns", "cells", "checksum",
}  # fmt: skip

Packet = dict[str, Any]


def make_packet(
    cells: Cells,
    *,
    source: str,
    revision: int,
    secret: bytes,
    papers: Mapping[str, float],
    least_logs: int = LEAST_LOGS,
) -> Packet:
    """Pack cells under `source` (an identifier of the club that says nothing of it) and a growing `revision`.

    Effects in the cells are counted from an exposure index of 1, so that no club's nominal index matters. `papers`
    gives the nominal index of every paper that may leave, by its catalogue name; others stay. `secret` keys the
    pseudonyms and never leaves the server. Grades are written as strings.
    """
    if len(secret) < 16:
        raise Impossible("secret_too_short", "Pseudonyms need a secret of at least 16 bytes.", "secret")
    if len(cells):  # no log weighs more than 1, so the weight tells how many are in the sums at the least
        enough = np.ceil(cells.weight - 1e-9) >= least_logs
        cells = _of_the_most(cells.where(enough & np.isin(cells.paper, sorted(papers))))
    named = Cells.from_columns(
        {
            **{name: getattr(cells, name) for name in COLUMNS},
            "camera": [pseudonym(secret, "camera", key) for key in cells.camera.tolist()],
            "member": [pseudonym(secret, "member", key) for key in cells.member.tolist()],
            "grade": [str(key) for key in cells.grade.tolist()],
        }
    )
    rows = [list(row) for row in zip(*(getattr(named, name).tolist() for name in PACKED), strict=True)]
    packet: Packet = {
        "format": FORMAT,
        "version": VERSION,
        "source": source,
        "revision": revision,
        "least_logs": least_logs,
        "papers": {name: papers[name] for name in np.unique(named.paper).tolist()},
        "columns": list(PACKED),
        "cells": rows,
    }
    packet["checksum"] = checksum(packet)
    return packet


def _of_the_most(cells: Cells) -> Cells:
    """The cells of as many members as a packet may hold, those with the most logs."""
    members, place = cells.levels("member")
    order = np.argsort(-totals(place, cells.logs, len(members)), kind="stable")
    return cells.where(np.isin(place, order[:MOST_MEMBERS]))


def pseudonym(secret: bytes, kind: str, key: Any) -> str:
    """The same for the same key and secret, and not to be resolved without the secret."""
    return hmac.new(secret, f"{kind}:{key}".encode(), hashlib.sha256).hexdigest()[:24]


def checksum(packet: Packet) -> str:
    """SHA-256 of the packet's canonical JSON (sorted keys, no spaces, UTF-8), its checksum left out."""
    content = {name: value for name, value in packet.items() if name != "checksum"}
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


@dataclass(frozen=True)
class OpenPacket:
    """A packet that was found sound: its cells, effects counted from an index of 1, and its papers' nominal indices."""

    source: str
    revision: int
    checksum: str
    indices: dict[str, float]
    cells: Cells


def open_packet(packet: Any) -> OpenPacket:
    """A packet checked through and through; `Impossible` says what is wrong with it.

    A packet tells no single times, so the range of times of a cell is that of its mean, which never overstates it.
    """
    source, revision, indices, rows = _checked(packet)
    found = OpenPacket(source, revision, packet["checksum"], indices, NO_CELLS)
    if not rows:
        return found
    columns: dict[str, Any] = dict(zip(PACKED, zip(*rows, strict=True), strict=True))
    weight = np.asarray(columns["weight"], float)
    mean = np.divide(columns["x"], weight, out=np.zeros(len(rows)), where=weight > 0)
    return replace(found, cells=Cells.from_columns({**columns, "shortest_u": mean, "longest_u": mean}))


def _checked(packet: Any) -> tuple[str, int, dict[str, float], list[list[Any]]]:
    """Source, revision, papers' indices and cells of a packet that can be read and was not changed."""
    if not isinstance(packet, dict) or packet.get("format") != FORMAT:
        raise Impossible("not_a_packet", "This is not a packet of pooled statistics.", "format")
    if packet.get("version") != VERSION:
        raise Impossible("packet_version", f"Only packets of version {VERSION} can be read here.", "version")
    if packet.keys() != KEYS_OF_PACKET:
        odd = sorted(str(key) for key in packet.keys() ^ KEYS_OF_PACKET)
        raise Impossible("packet_keys", f"A packet lacks or must not have {', '.join(odd)[:200]}.", "")
    source, revision = packet.get("source"), packet.get("revision")
    if not isinstance(source, str) or not 0 < len(source) <= 100:
        raise Impossible("packet_source", "A packet needs a source of 1 to 100 characters.", "source")
    if type(revision) is not int or not 0 <= revision < 2**31:
        raise Impossible("packet_revision", "A packet needs a whole-numbered revision from 0 up.", "revision")
    if packet.get("checksum") != checksum(packet):
        raise Impossible("packet_checksum", "This packet was changed or damaged on its way.", "checksum")
    if type(packet.get("least_logs")) is not int:
        raise Impossible("packet_least_logs", "least_logs must be a whole number.", "least_logs")
    return source, revision, *_content(packet)


def _content(packet: Packet) -> tuple[dict[str, float], list[list[Any]]]:
    rows = packet.get("cells")
    if packet.get("columns") != list(PACKED) or not isinstance(rows, list):
        raise Impossible("packet_columns", f"A packet's cells must hold {', '.join(PACKED)}.", "columns")
    if not all(isinstance(row, list) and len(row) == len(PACKED) and _sound(row) for row in rows):
        raise Impossible("packet_cell", "A cell of this packet cannot be the sum of any logs.", "cells")
    most = {"logs": MOST_LOGS, "papers": MOST_PAPERS, "members": MOST_MEMBERS}
    found = sum(row[PACKED.index("logs")] for row in rows), len({row[0] for row in rows}), len({row[2] for row in rows})
    if any(count > limit for count, limit in zip(found, most.values(), strict=True)):
        limits = ", ".join(f"{limit:.0f} {name}" for name, limit in most.items())
        raise Impossible("packet_too_large", f"A club's packet holds at most {limits}.", "cells")
    indices = packet.get("papers")
    if not isinstance(indices, dict) or {row[0] for row in rows} != indices.keys():
        raise Impossible("packet_papers", "A packet names the papers of its cells, and no others.", "papers")
    if not all(type(index) in {int, float} and 1e-3 <= index <= 1e6 for index in indices.values()):
        raise Impossible("packet_index", "A paper's nominal index lies between 0.001 and 1 000 000.", "papers")
    return {name: float(index) for name, index in indices.items()}, rows


def _sound(row: list[Any]) -> bool:
    """Whether a cell's sums could be those of weighted logs: signs, ranges, and Cauchy–Schwarz."""
    keys, numbers = row[: len(KEYS)], row[len(KEYS) :]
    if not all(isinstance(key, str) and 0 < len(key) <= 200 for key in keys):
        return False
    if not all(type(value) in {int, float} and abs(value) < 1e15 and math.isfinite(value) for value in numbers):
        return False
    logs, w, x, xx, y, xy, yy = (float(value) for value in numbers)
    slack = 1e-9 * (1 + logs + xx + yy)  # sums of doubted logs, taken off again, leave a trace of rounding
    return (
        1 <= logs <= MOST_LOGS
        and -slack <= w <= logs + slack
        and -slack <= x <= FARTHEST_STOPS * w + slack
        and -slack <= xx <= FARTHEST_STOPS * x + slack
        and -slack <= yy <= FARTHEST_STOPS**2 * w + slack
        and x * x <= w * xx + slack * (1 + w)
        and y * y <= w * yy + slack * (1 + w)
        and xy * xy <= xx * yy + slack * (1 + xx)
    )
