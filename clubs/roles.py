"""Who may do what in a club: one table, from which permissions and their tests both come."""

from enum import IntEnum
from typing import Literal, NamedTuple

from pinpool.scopes import Scope


class Role(IntEnum):
    """A member's role; each may do all that those below it may."""

    GUEST = 1
    MEMBER = 2
    LEADER = 3
    KEEPER = 4


ROLE_CHOICES = [(role.name.lower(), role.name.title()) for role in Role]


class Act(NamedTuple):
    """What it takes to do something inside a club: a role at least this high, and a token of at least this scope.

    `clubs` and `others` are the roles it takes with what belongs to the club, or to another member, where those are
    higher than the one for what is one's own.
    """

    role: Role
    scope: str
    clubs: Role | None = None
    others: Role | None = None


#: Everything that can be done inside a club.
MAY = {
    "read_club": Act(Role.GUEST, Scope.READ),
    "change_club": Act(Role.KEEPER, Scope.MANAGE),
    "close_club": Act(Role.KEEPER, Scope.MANAGE),
    "read_members": Act(Role.MEMBER, Scope.READ),
    "add_member": Act(Role.KEEPER, Scope.MANAGE),
    "change_role": Act(Role.KEEPER, Scope.MANAGE),
    "remove_member": Act(Role.KEEPER, Scope.MANAGE),
    "leave_club": Act(Role.GUEST, Scope.MANAGE),
    "read_invitations": Act(Role.KEEPER, Scope.READ),
    "invite": Act(Role.KEEPER, Scope.MANAGE),
    "withdraw_invitation": Act(Role.KEEPER, Scope.MANAGE),
    "read_cameras": Act(Role.GUEST, Scope.READ),
    "register_camera": Act(Role.MEMBER, Scope.MANAGE),
    "add_spec": Act(Role.MEMBER, Scope.MANAGE, others=Role.KEEPER),
    "change_camera": Act(Role.MEMBER, Scope.MANAGE, clubs=Role.KEEPER, others=Role.KEEPER),
    "lend_camera": Act(Role.MEMBER, Scope.MANAGE, clubs=Role.LEADER, others=Role.KEEPER),
    "bring_back_camera": Act(Role.MEMBER, Scope.MANAGE, clubs=Role.LEADER, others=Role.KEEPER),
    "add_photo": Act(Role.MEMBER, Scope.MANAGE, others=Role.KEEPER),
    "caption_photo": Act(Role.MEMBER, Scope.MANAGE, clubs=Role.KEEPER, others=Role.KEEPER),
    "remove_photo": Act(Role.MEMBER, Scope.MANAGE, clubs=Role.KEEPER, others=Role.KEEPER),
    "read_designs": Act(Role.GUEST, Scope.READ),
    "save_design": Act(Role.MEMBER, Scope.MANAGE),
    "change_design": Act(Role.MEMBER, Scope.MANAGE, others=Role.LEADER),
    "read_sheets": Act(Role.GUEST, Scope.READ),
    "issue_sheet": Act(Role.MEMBER, Scope.MANAGE),
    "read_trail": Act(Role.KEEPER, Scope.READ),
    "read_papers": Act(Role.GUEST, Scope.READ),
    "add_paper": Act(Role.LEADER, Scope.MANAGE),
    "change_paper": Act(Role.LEADER, Scope.MANAGE),
    "read_exposures": Act(Role.GUEST, Scope.READ),
    "log_exposure": Act(Role.MEMBER, Scope.LOG),
    "correct_exposure": Act(Role.MEMBER, Scope.LOG, others=Role.KEEPER),
    "put_picture": Act(Role.MEMBER, Scope.LOG, others=Role.KEEPER),
    "remove_picture": Act(Role.MEMBER, Scope.LOG, others=Role.KEEPER),
    "read_estimates": Act(Role.GUEST, Scope.READ),
    "ask_recommendation": Act(Role.GUEST, Scope.READ),
    "ask_next_tests": Act(Role.MEMBER, Scope.READ),
    "compare": Act(Role.MEMBER, Scope.READ),
    "read_doubts": Act(Role.MEMBER, Scope.READ),
    "read_pool": Act(Role.MEMBER, Scope.READ),
    "join_pool": Act(Role.KEEPER, Scope.MANAGE),
    "merge_papers": Act(Role.KEEPER, Scope.MANAGE),
    "read_packets": Act(Role.KEEPER, Scope.READ),
    "exchange_packets": Act(Role.KEEPER, Scope.MANAGE),
    "read_imports": Act(Role.MEMBER, Scope.READ),
    "import_rows": Act(Role.MEMBER, Scope.MANAGE),
    "undo_import": Act(Role.MEMBER, Scope.MANAGE),
    "export_sheet": Act(Role.MEMBER, Scope.READ),
    "read_embeds": Act(Role.MEMBER, Scope.READ),
    "switch_embeds": Act(Role.KEEPER, Scope.MANAGE),
    "read_archive": Act(Role.KEEPER, Scope.READ),
    "read_workshops": Act(Role.MEMBER, Scope.READ),
    "hold_workshop": Act(Role.LEADER, Scope.MANAGE),
    "let_join": Act(Role.KEEPER, Scope.MANAGE),
    "read_places": Act(Role.LEADER, Scope.READ),
    "change_place": Act(Role.LEADER, Scope.MANAGE),
    "close_workshop": Act(Role.LEADER, Scope.MANAGE),
    "issue_workshop_sheet": Act(Role.LEADER, Scope.MANAGE),
}


def allows(role: str, action: str, *, whose: Literal["own", "clubs", "others"] = "own") -> bool:
    """Whether a role, by its stored name, may do an action of `MAY` with what is its own, the club's or another's."""
    act = MAY[action]
    return Role[role.upper()] >= max(act.role, {"own": None, "clubs": act.clubs, "others": act.others}[whose] or 0)
