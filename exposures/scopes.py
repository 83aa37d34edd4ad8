"""What a club's fit rests on: its own log, and once it has joined the pool, others' shared logs and received packets.

Everything the pure model needs is put into its words here: papers go by their catalogue key (merges followed), cameras
by their spec, members by their account, people who have none by their row; and effects are counted from each paper's
nominal index. A camera's offset belongs to one spec: a hole measured anew starts anew.
"""

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from django.db.models import Q, QuerySet, Sum

from clubs.models import Club
from exposures.catalogue import family_of
from exposures.evidence import SUMS, single_logs
from exposures.models import Doubt, EvidenceCell, ExposureLog, Paper, PaperMerge, Pool, ReceivedPacket
from exposures.reciprocity.cells import KEYS, NO_CELLS, Cells, Logs
from exposures.reciprocity.packets import OpenPacket, open_packet

#: Changes whenever the same data would be reckoned otherwise.
METHOD = 2
#: So many people without an account count each by themselves, those with the most logs; all others count as one. Each
#: is a level of the model, whose time grows with the cube of them: a club that holds workshops gains many every year.
MOST_PEOPLE = 200
OTHERS = "others without an account"
#: What is read of a cell.
CELL_FIELDS = (
    "paper__catalogue_key", "spec_id", "member_id", "person_id", "grade", "logs", "x", "xx", "y", "xy", "yy",
    "shortest_stops", "longest_stops",
)  # fmt: skip


def pool_of(club: Club) -> Pool:
    """What the club shares; made where nobody asked before."""
    return Pool.objects.filter(club=club).first() or Pool.objects.get_or_create(club=club)[0]


def camera_key(spec_id: int) -> str:
    return f"spec {spec_id}"


def member_key(user_id: int | None, person_id: int | None = None) -> str:
    """Accounts and people without one go each by themselves; all former members are one."""
    if user_id is not None:
        return f"account {user_id}"
    return "former members" if person_id is None else f"person {person_id}"


@dataclass(frozen=True)
class KnownPaper:
    """A paper of the scope under its catalogue key: by what name, and which index its effects are counted from."""

    key: str
    name: str
    family: str
    nominal_exposure_index: float


class Scope:
    """A club's scope at one time. Its fingerprint is read first: what is added later can only make it look older."""

    def __init__(self, club: Club) -> None:
        self.club = club
        self.pool = pool_of(club)
        joined = Pool.objects.filter(joined=True).exclude(club=club) if self.pool.joined else Pool.objects.none()
        stamps = dict(joined.order_by("pk").values_list("pk", "shared_stamp"))
        #: The other clubs whose shared logs count here. Named one by one: of those that another statement finds,
        #: databases look through the cells of all clubs.
        self.others = list(stamps)
        # Whoever deletes an account, by whatever door, changes whose logs these are.
        nobodys = EvidenceCell.objects.filter(member=None, person=None)
        # Two counts: of rows that are one thing or the other, SQLite would look through all who have no person.
        theirs = nobodys.filter(club=club).count() + nobodys.filter(shared=True, club__in=self.others).count()
        # And an own paper's index goes before another club's for the same paper, logged or not.
        own = Paper.objects.filter(club=club).order_by("created_at", "pk")
        indices = list(own.values_list("catalogue_key", "nominal_exposure_index"))
        others = (len(stamps), sum(stamps.values()) or None)
        marks = (METHOD, club.pk, self.pool.joined, self.pool.stamp, *others, theirs, indices)
        self.fingerprint = hashlib.sha256(repr(marks).encode()).hexdigest()

    def _rows(self) -> Q:
        """Which cells and logs count: the club's own, and the shared ones of the others."""
        own = Q(club=self.club)
        return own | Q(shared=True, club__in=self.others) if self.others else own

    @cached_property
    def merged(self) -> dict[str, str]:
        """Where each merged catalogue key leads in the end."""
        steps = dict(PaperMerge.objects.filter(club=self.club, undone_at=None).values_list("key", "into_key"))
        return {key: _end(steps, key) for key in steps}

    @cached_property
    def crowd(self) -> frozenset[int]:
        """People without an account beyond those who count by themselves."""
        people = EvidenceCell.objects.filter(self._rows(), person__isnull=False).values_list("person")
        by_logs = people.annotate(total=Sum("logs")).order_by("-total", "person")
        return frozenset(person for person, _ in list(by_logs)[MOST_PEOPLE:])

    def root(self, key: str) -> str:
        return self.merged.get(key, key)

    @cached_property
    def _paper_rows(self) -> list[tuple[str, str, str, float, bool]]:
        """(catalogue key, name, family, nominal index, own) of every paper in the scope, own papers first."""
        wanted = Q(club=self.club) | Q(pk__in=EvidenceCell.objects.filter(self._rows()).values("paper_id"))
        rows = Paper.objects.filter(wanted).order_by("created_at", "pk")
        fields = ("catalogue_key", "name", "family", "nominal_exposure_index", "club_id")
        known = [(*row[:4], row[4] == self.club.pk) for row in rows.values_list(*fields)]
        return sorted(known, key=lambda row: not row[4])

    @cached_property
    def papers(self) -> dict[str, KnownPaper]:
        """Every paper of the scope by its root key; the club's own words and index go before others'."""
        found: dict[str, KnownPaper] = {}
        told = [(own, key, name, family, index) for key, name, family, index, own in self._paper_rows]
        for packet in self._packets:
            told += [(False, key, *_words(key), index) for key, index in packet.indices.items()]
        for _, key, name, family, index in sorted(told, key=lambda row: (not row[0], row[1] in self.merged)):
            found.setdefault(self.root(key), KnownPaper(self.root(key), name, family, index))
        return found

    @cached_property
    def families(self) -> dict[str, str]:
        return {key: family_of(key) for key in self.papers}

    @cached_property
    def _packets(self) -> list[OpenPacket]:
        if not self.pool.joined:
            return []
        received = ReceivedPacket.objects.filter(club=self.club, withdrawn_at=None).order_by("source")
        return [open_packet(content) for content in received.values_list("content", flat=True)]

    @property
    def keys(self) -> set[str]:
        """Every catalogue key that this club reckons with, merged ones too."""
        return {key for key, *_ in self._paper_rows} | {key for packet in self._packets for key in packet.indices}

    def cells(self) -> Cells:
        """Every log of the scope at full weight."""
        return self._from_nominal(self._summed(EvidenceCell.objects.filter(self._rows()))) + self.packed_cells()

    def packed_cells(self) -> Cells:
        """The sums of the received packets."""
        total = NO_CELLS
        for packet in self._packets:
            roots = np.array([self.root(key) for key in packet.cells.paper.tolist()], dtype=str)
            camera, member = (_of_source(packet.source, keys) for keys in (packet.cells.camera, packet.cells.member))
            total = total + replace(packet.cells, paper=roots, camera=camera, member=member)
        return self._from_nominal(total)

    def shared_cells(self) -> Cells:
        """The club's own shared logs, doubts taken off, effects counted from an index of 1: what a packet may tell."""
        shared = {"club": self.club, "shared": True}
        cells = self._summed(EvidenceCell.objects.filter(**shared))
        _, logs, weights = self._doubted(Q(**shared))
        return less_doubted(cells, logs, weights)

    def _summed(self, cells: QuerySet[EvidenceCell]) -> Cells:
        """Cells from the maintained table in the words of this scope, effects counted from an index of 1."""
        columns = list(zip(*cells.values_list(*CELL_FIELDS), strict=True))
        if not columns:
            return NO_CELLS
        keys = self._keys(*columns[:5])
        sums = dict(zip(("logs", *SUMS, "shortest_u", "longest_u"), columns[5:], strict=True))
        return Cells.from_columns(dict(zip(KEYS, keys, strict=True)) | sums | {"weight": sums["logs"]})

    def _keys(
        self,
        papers: Sequence[str],
        specs: Sequence[int],
        members: Sequence[Any],
        people: Sequence[Any],
        grades: Sequence[str],
    ) -> list[np.ndarray]:
        roots = [self.merged.get(key, key) for key in papers]
        crowd = self.crowd if any(people) else frozenset()
        authors = [
            OTHERS if person in crowd else member_key(member, person)
            for member, person in zip(members, people, strict=True)
        ]
        words = roots, [camera_key(pk) for pk in specs], authors, list(grades)
        return [np.array(word, dtype=str) for word in words]

    def _nominal_stops(self, roots: np.ndarray) -> np.ndarray:
        names, place = np.unique(roots, return_inverse=True)
        return np.array([np.log2(self.papers[name].nominal_exposure_index) for name in names.tolist()])[place]

    def _from_nominal(self, cells: Cells) -> Cells:
        """Cells whose effects are counted from an index of 1, counted from each paper's nominal index instead."""
        if not len(cells):
            return cells
        less, w = self._nominal_stops(cells.paper), cells.weight
        yy = cells.yy - 2 * less * cells.y + less**2 * w
        return replace(cells, y=cells.y - less * w, xy=cells.xy - less * cells.x, yy=yy)

    def logs(self, *, after: int = 0) -> Iterator[tuple[np.ndarray, Logs]]:
        """Chunks of the scope's single logs that came after a log's number: their numbers, and the logs."""
        yield from self.logs_of(ExposureLog.objects.filter(self._rows()), after=after)

    def logs_of(self, logs: QuerySet[ExposureLog], *, after: int = 0) -> Iterator[tuple[np.ndarray, Logs]]:
        """The same of the judged ones among some logs of the scope."""
        for chunk in single_logs(logs, after=after):
            numbers, found = self._as_logs(chunk)
            yield numbers, replace(found, z=found.z - self._nominal_stops(found.paper))

    def doubted(self) -> tuple[np.ndarray, Logs, np.ndarray]:
        """The logs that last counted less than fully: their numbers, the logs, and their weights."""
        numbers, logs, weights = self._doubted(self._rows())
        return numbers, replace(logs, z=logs.z - self._nominal_stops(logs.paper)), weights

    def _doubted(self, wanted: Q) -> tuple[np.ndarray, Logs, np.ndarray]:
        weights = dict(Doubt.objects.filter(club=self.club).values_list("log_id", "weight_share"))
        logs = ExposureLog.objects.filter(wanted, doubts__club=self.club)
        numbers, found = self._as_logs([row for chunk in single_logs(logs) for row in chunk])
        return numbers, found, np.array([weights[number] for number in numbers.tolist()], dtype=float)

    def _as_logs(self, rows: list[tuple[Any, ...]]) -> tuple[np.ndarray, Logs]:
        """Rows of single logs in the words of this scope, effects counted from an index of 1."""
        numbers, *keys, u, z = list(zip(*rows, strict=True)) or [()] * 8
        paper, camera, member, grade = self._keys(*keys)
        logs = Logs(paper, camera, member, grade, np.array(u, dtype=float), np.array(z, dtype=float))
        return np.array(numbers, dtype=np.int64), logs


def less_doubted(cells: Cells, logs: Logs, weights: np.ndarray) -> Cells:
    """Cells of full weight, less what some logs of lesser weight count too much in them."""
    if not len(logs):
        return cells
    less = Cells.from_logs(logs, weights - 1)
    return cells + replace(less, logs=np.zeros(len(less)))


def _of_source(source: str, pseudonyms: np.ndarray) -> np.ndarray:
    """Cameras or members of a packet: whatever it calls them, they are nobody's but its own."""
    return np.array([f"{source}: {pseudonym}" for pseudonym in pseudonyms.tolist()], dtype=str)


def _words(key: str) -> tuple[str, str]:
    """Name and family in a catalogue key."""
    return key.rpartition("|")[0], family_of(key)


def _end(steps: dict[str, str], key: str) -> str:
    """Where a chain of merges ends; circles are refused when they are made, and a broken one ends where it starts."""
    seen = {key}
    while (key := steps.get(key, key)) not in seen:
        seen.add(key)
    return key
