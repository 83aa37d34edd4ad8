"""What a sheet may call by name: the cameras, papers and members of the club that it is brought into."""

import difflib
import uuid
from collections.abc import Callable, Iterable
from functools import cached_property
from typing import Any

from clubs.models import Camera, Club, Membership
from clubs.roles import allows
from clubs.selectors import cameras_in
from exposures.catalogue import plain_words
from exposures.imports.cells import CellFault
from exposures.models import Paper
from exposures.selectors import papers_in


class Known:
    """A club's things by what people call them, read once; names are compared without case and extra signs."""

    def __init__(self, *, club: Club, actor: Membership) -> None:
        self.club, self.actor = club, actor

    @cached_property
    def cameras(self) -> dict[str, Camera]:
        """By code, and by name where no other camera has it."""
        rows = list(cameras_in(club=self.club))
        return _once((camera.name, camera) for camera in rows) | {_plain(camera.code): camera for camera in rows}

    @cached_property
    def papers(self) -> dict[str, Paper]:
        """By id and by name."""
        rows = list(papers_in(club=self.club))
        return _once((paper.name, paper) for paper in rows) | {_plain(str(paper.pk)): paper for paper in rows}

    @cached_property
    def members(self) -> dict[str, Membership]:
        rows = self.club.memberships.select_related("user", "club")
        return {each.user.get_username().casefold(): each for each in rows}

    def camera(self, text: str) -> Camera:
        return _found(self.cameras, text, "camera", [camera.code for camera in self.cameras.values()])

    def paper(self, text: str) -> Paper:
        return _found(self.papers, text, "paper", [paper.name for paper in self.papers.values()])

    def member(self, text: str) -> Membership:
        """Whoever exposed it: oneself, or for a keeper any member who may log."""
        found = self.members.get(text.casefold())
        if found is None:
            raise CellFault("unknown_member", f"No member of this club goes by “{text[:40]}”.")
        if found.pk != self.actor.pk and not allows(self.actor.role, "add_member"):
            raise CellFault("not_allowed", "Only a keeper may bring in other members' logs.")
        if not allows(found.role, "log_exposure"):
            raise CellFault("not_allowed", f"A {found.role} of this club may not log exposures.")
        return found

    @property
    def tests(self) -> dict[str, Callable[[str], bool]]:
        """For each kind of field that is a name, whether something goes by a text."""
        return {
            "camera": lambda text: _plain(text) in self.cameras,
            "paper": lambda text: _plain(text) in self.papers,
            "member": lambda text: text.casefold() in self.members,
        }


def identifier(text: str) -> str:
    """A UUID in its one spelling, or the text as it is for the body to refuse."""
    try:
        return str(uuid.UUID(text))
    except ValueError:
        return text


def _plain(text: str) -> str:
    return plain_words(text)


def _once(named: Iterable[tuple[str, Any]]) -> dict[str, Any]:
    """By plain name, without those that two share."""
    found: dict[str, Any] = {}
    for name, thing in named:
        key = _plain(name)
        found[key] = None if key in found else thing
    return {name: thing for name, thing in found.items() if thing is not None}


def _found(things: dict[str, Any], text: str, what: str, names: list[str]) -> Any:
    thing = things.get(_plain(text))
    if thing is not None:
        return thing
    near = difflib.get_close_matches(text.upper() if what == "camera" else text, sorted(set(names)), 1)
    hint = f" Did you mean {near[0]}?" if near else ""
    raise CellFault(f"unknown_{what}", f"This club has no {what} “{text[:40]}”.{hint}")
