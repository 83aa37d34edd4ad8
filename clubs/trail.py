"""The trail: every change of what a club keeps, in the transaction that makes it."""

from typing import Any

from clubs.models import Club, TrailEntry
from pinpool.prepared import PreparedInsert

_insert = PreparedInsert(TrailEntry)


def record(
    *, club: Club, actor: Any, action: str, subject: str, before: dict[str, Any] | None = None, after: Any = None
) -> None:
    """Add one entry: `action` as `clubs.roles.MAY` names it, `subject` as a person would, and what differs.

    `before` and `after` hold plain values by the API's names; only what changed is kept of two.
    """
    if before is not None and after is not None:
        names = {name for name in before | after if before.get(name) != after.get(name)}
        before = {name: value for name, value in before.items() if name in names}
        after = {name: value for name, value in after.items() if name in names}
    name = actor.get_username() if actor is not None else ""
    facts = {"action": action, "subject": subject[:200], "before": before, "after": after}
    _insert(TrailEntry(club=club, actor=actor, actor_name=name[:254], **facts))
