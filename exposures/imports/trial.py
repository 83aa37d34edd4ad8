"""Every row of a sheet read and checked as the API would check it, without storing anything."""

import json
import uuid
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import numpy as np
from rest_framework import serializers

from clubs.models import Camera, Membership
from exposures.imports.cells import UNDECLARED, CellFault, as_text, is_empty, read_cell, read_instant
from exposures.imports.fields import BESIDE, KINDS_OF_SHEET, Field, fields_of
from exposures.imports.guessing import Column
from exposures.imports.known import Known, identifier
from exposures.imports.sheets import Cell
from exposures.imports.words import in_words
from exposures.models import ImportBatch
from pinpool.http.problems import faults_of

#: The space of the ids that rows get by what they say: the same row is the same log, however often it comes.
_ROWS = uuid.UUID("6f3c1f2e-0d0b-5c37-9f0e-2a8e6c1d4b57")
#: A sheet's f-number may be off the camera's by this much, which covers rounding to the trade's marks.
MOST_OFF_STOPS = 1 / 3


@dataclass(frozen=True)
class Fault:
    """What is wrong with a row: `column` and `field` where one cell is at fault, and the cell as it stands."""

    code: str
    detail: str
    column: str | None = None
    field: str | None = None
    cell: str = ""


@dataclass
class Row:
    """A row by its number in the file: the `body` the API would be sent, the `facts` it makes of that, and faults."""

    number: int
    body: dict[str, Any] = field(default_factory=dict)
    facts: dict[str, Any] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    empty: bool = False


class Trial:
    """A batch's rows tried against the club as it is now, on behalf of one member of it."""

    def __init__(self, *, batch: ImportBatch, actor: Membership, columns: list[Column], fixed: dict[str, str]) -> None:
        self.batch, self.known = batch, Known(club=actor.club, actor=actor)
        self.fields = fields_of(batch.kind)
        self.formats = {column.field: column.format for column in columns if column.field}
        self.names = {column.field: column.name for column in columns if column.field}
        self.places = {column.field: place for place, column in enumerate(columns) if column.field}
        self.fixed = fixed
        self.reader = KINDS_OF_SHEET[batch.kind][0](context={"plugins": batch.club.plugins})
        self.seen: Counter[str] = Counter()
        self.values: dict[Any, Any] = {}

    def rows(self, numbers: range | None = None) -> Iterator[Row]:
        """The rows below the heading in their order, or those of some places in the table."""
        table, first = self.batch.table, self.batch.mapping["first_row"]
        for place in numbers or range(1, len(table)):
            yield self._row(first + place, table[place])

    def _row(self, number: int, cells: list[Cell]) -> Row:
        row = Row(number)
        if all(is_empty(cell) for cell in cells):
            row.empty = True
            return row
        said: dict[str, Cell] = {**self.fixed}
        said |= {name: cells[place] for name, place in self.places.items() if not is_empty(cells[place])}
        beside: dict[str, Any] = {}
        for name, cell in said.items():
            try:
                value = self._value(self.fields[name], cell, said)
                if self.fields[name] in BESIDE:
                    beside[name] = value
                else:
                    _put(row.body, name, value)
            except CellFault as fault:
                self._add(row, fault.code, fault.detail, name, cell)
        self._check(row, said)
        if not row.faults:
            getattr(self, f"_finish_{self.batch.kind}")(row, said, beside)
        return row

    def _value(self, each: Field, cell: Cell, said: dict[str, Cell]) -> Any:
        """What a cell says; what many rows say alike is read once."""
        key = (each.name, type(cell), cell)
        if each.kind == "instant":
            return read_instant(cell, self.formats.get(each.name, UNDECLARED), said.get("clock", ""))
        if key not in self.values:
            self.values[key] = self._read(each, cell)
        return self.values[key]

    def _read(self, each: Field, cell: Cell) -> Any:
        match each.kind:
            case "camera":
                return self.known.camera(as_text(cell)).code
            case "paper":
                return str(self.known.paper(as_text(cell)).pk)
            case "member":
                return self.known.member(as_text(cell))
            case "id":
                return identifier(as_text(cell))
        return read_cell(cell, each, self.formats.get(each.name, UNDECLARED))

    def _check(self, row: Row, said: dict[str, Cell]) -> None:
        """Let the API's own serializer read the body; a field whose cell is at fault already is not blamed again."""
        try:
            row.facts = dict(self.reader.run_validation(row.body))
        except serializers.ValidationError as refused:
            blamed = {fault.field for fault in row.faults}
            for pointer, fault in faults_of(refused.detail):
                path = pointer.strip("/").replace("/", ".")
                inside = [name for name in said if name == path or name.startswith(path + ".")]
                if not blamed & {path, *inside} and not any(path.startswith(f"{name}.") for name in blamed if name):
                    name = path if path in said else (inside or [path])[0]
                    self._add(row, str(fault.code), str(fault), name, said.get(name, ""))

    def _add(self, row: Row, code: str, detail: str, name: str, cell: Cell = "") -> None:
        row.faults.append(Fault(code, detail, self.names.get(name), name or None, str(cell)[:80]))

    # ------------------------------------------------------------------------------------------ by kind of sheet

    def _finish_exposures(self, row: Row, said: dict[str, Cell], beside: dict[str, Any]) -> None:
        camera, paper = self.known.camera(row.body["camera"]), self.known.paper(row.body["paper"])
        told = json.dumps(row.body, sort_keys=True)
        self.seen[told] += 1
        if "id" not in row.body:
            made = uuid.uuid5(_ROWS, f"{self.batch.club_id} {self.seen[told]} {told}")
            row.facts["id"] = made
        row.facts |= {"camera": camera, "paper": paper, "actor": beside.get("member", self.known.actor)}
        if "f_number" in beside:
            self._check_f_number(row, said, beside["f_number"], camera, row.facts["taken_at"])

    def _check_f_number(self, row: Row, said: dict[str, Cell], told: float, camera: Camera, at: datetime) -> None:
        spec = camera.spec_at(at)
        if spec is None or told <= 0:
            self._add(row, "invalid", "An f-number is above 0.", "f_number", said["f_number"])
            return
        off = 2 * abs(float(np.log2(told / spec.f_number)))
        if off > MOST_OFF_STOPS:
            detail = (
                f"{camera.code} is f/{spec.f_number:.0f}, {off:.1f} stops off this; if the camera is right, "
                "leave this column aside."
            )
            self._add(row, "f_number_differs", detail, "f_number", said["f_number"])

    def _finish_cameras(self, row: Row, said: dict[str, Cell], beside: dict[str, Any]) -> None:  # noqa: ARG002
        row.facts["actor"] = self.known.actor
        code = row.facts.get("code")
        if code:
            self.seen[code] += 1
            if self.seen[code] > 1 or any(camera.code == code for camera in self.known.cameras.values()):
                self._add(row, "taken", f"The code {code} is taken.", "code", said["code"])

    def _finish_papers(self, row: Row, said: dict[str, Cell], beside: dict[str, Any]) -> None:  # noqa: ARG002
        row.facts["actor"] = self.known.actor
        name = row.facts["name"]
        self.seen[name] += 1
        if self.seen[name] > 1 or any(paper.name == name for paper in self.known.papers.values()):
            self._add(row, "taken", f"There is a paper called “{name}” already.", "name", said["name"])


def _put(body: dict[str, Any], path: str, value: Any) -> None:
    """Set the value at a dotted path, such as `result.judged_stops`; raises `CellFault` where another stands there."""
    *steps, last = path.split(".")
    for place, step in enumerate(steps, 1):
        body = body.setdefault(step, {})
        if not isinstance(body, dict):
            whole = in_words(".".join(steps[:place]))
            raise CellFault("ambiguous", f"Another column says all of “{whole}”; leave one aside.")
    body[last] = value
