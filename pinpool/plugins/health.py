"""How the plug-ins of this process have done since they were loaded."""

from collections import defaultdict
from collections.abc import Iterable
from concurrent.futures import Future
from dataclasses import dataclass, field, replace
from typing import Any

from .loading import Entry

#: Calls given up on and still running at which a plug-in is let rest: each holds a thread.
MOST_LATE = 3


@dataclass
class Record:
    """One plug-in's failures, and what keeps it from being called."""

    failures: int = 0
    last_failure: str = ""
    tampered: bool = False
    #: Calls given up on: those that have not come back, and those that did since the registry was last looked at.
    late: list["Future[Any]"] = field(default_factory=list)

    def failed(self, sentence: str) -> None:
        """Count a failure, told in a `sentence`."""
        self.failures += 1
        self.last_failure = sentence

    @property
    def running_late(self) -> int:
        """Calls given up on that have not come back."""
        return sum(not call.done() for call in self.late)


_records: dict[tuple[str, str], Record] = defaultdict(Record)


def record_of(entry: Entry) -> Record:
    """The record of a plug-in, by its package and name."""
    return _records[entry.package, entry.name]


def late_ones(found: Iterable[Entry]) -> list[Entry]:
    """Those among the `found` with calls given up on that ran on since this was last asked."""
    late = [entry for entry in found if record_of(entry).late]
    for entry in late:
        record_of(entry).late = [call for call in record_of(entry).late if not call.done()]
    return late


def forget(entry: Entry) -> None:
    """Begin the plug-in's record anew."""
    _records.pop((entry.package, entry.name), None)


def seen(entry: Entry) -> Entry:
    """The entry as it is to be shown and used now, given how its plug-in has done."""
    record = _records.get((entry.package, entry.name))
    if entry.plugin is None or record is None:
        return entry
    if record.tampered:
        reason = (
            f"{entry.package}: changed what others contribute, which was undone; it is left out until the service is "
            "started anew."
        )
        return replace(entry, state="invalid", reason=reason, plugin=None)
    if (count := record.running_late) >= MOST_LATE:
        reason = (
            f"{entry.package}: {count} calls into it have not come back, so it rests until they do. "
            f"The last: {record.last_failure}"
        )
        return replace(entry, state="failed", reason=reason, plugin=None)
    return entry
