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

    `doing` says it in words that follow “may not”. `clubs` and `others` are the roles it takes with what belongs to the
    club, or to another member, where those are higher than the one for what is one's own.
    """

    doing: str
    role: Role
    scope: str
    clubs: Role | None = None
    others: Role | None = None


#: Everything that can be done inside a club.
MAY = {
    "read_club": Act("read about the club", Role.GUEST, Scope.READ),
    "change_club": Act("change the club", Role.KEEPER, Scope.MANAGE),
    "close_club": Act("close the club", Role.KEEPER, Scope.MANAGE),
    "read_members": Act("see who its members are", Role.MEMBER, Scope.READ),
    "add_member": Act("add members", Role.KEEPER, Scope.MANAGE),
    "change_role": Act("change a member's role", Role.KEEPER, Scope.MANAGE),
    "remove_member": Act("remove members", Role.KEEPER, Scope.MANAGE),
    "leave_club": Act("leave the club", Role.GUEST, Scope.MANAGE),
    "read_invitations": Act("see its invitations", Role.KEEPER, Scope.READ),
    "invite": Act("invite people", Role.KEEPER, Scope.MANAGE),
    "withdraw_invitation": Act("withdraw invitations", Role.KEEPER, Scope.MANAGE),
    "read_cameras": Act("see its cameras", Role.GUEST, Scope.READ),
    "register_camera": Act("register cameras", Role.MEMBER, Scope.MANAGE),
    "add_spec": Act("add a spec to a camera", Role.MEMBER, Scope.MANAGE, others=Role.KEEPER),
    "change_camera": Act("change cameras", Role.MEMBER, Scope.MANAGE, clubs=Role.KEEPER, others=Role.KEEPER),
    "lend_camera": Act("lend cameras", Role.MEMBER, Scope.MANAGE, clubs=Role.LEADER, others=Role.KEEPER),
    "bring_back_camera": Act("bring back cameras", Role.MEMBER, Scope.MANAGE, clubs=Role.LEADER, others=Role.KEEPER),
    "add_photo": Act("add photos", Role.MEMBER, Scope.MANAGE, others=Role.KEEPER),
    "caption_photo": Act("put captions to photos", Role.MEMBER, Scope.MANAGE, clubs=Role.KEEPER, others=Role.KEEPER),
    "remove_photo": Act("remove photos", Role.MEMBER, Scope.MANAGE, clubs=Role.KEEPER, others=Role.KEEPER),
    "read_designs": Act("see its designs", Role.GUEST, Scope.READ),
    "save_design": Act("save designs", Role.MEMBER, Scope.MANAGE),
    "change_design": Act("change designs", Role.MEMBER, Scope.MANAGE, others=Role.LEADER),
    "read_sheets": Act("see its sheets", Role.GUEST, Scope.READ),
    "issue_sheet": Act("issue sheets", Role.MEMBER, Scope.MANAGE),
    "read_trail": Act("read the trail", Role.KEEPER, Scope.READ),
    "read_papers": Act("see its papers", Role.GUEST, Scope.READ),
    "add_paper": Act("add papers", Role.LEADER, Scope.MANAGE),
    "change_paper": Act("change papers", Role.LEADER, Scope.MANAGE),
    "read_exposures": Act("read the log", Role.GUEST, Scope.READ),
    "log_exposure": Act("log exposures", Role.MEMBER, Scope.LOG),
    "correct_exposure": Act("correct entries of the log", Role.MEMBER, Scope.LOG, others=Role.KEEPER),
    "put_picture": Act("put pictures to entries of the log", Role.MEMBER, Scope.LOG, others=Role.KEEPER),
    "remove_picture": Act("remove pictures of the log", Role.MEMBER, Scope.LOG, others=Role.KEEPER),
    "read_estimates": Act("see what its log teaches", Role.GUEST, Scope.READ),
    "ask_recommendation": Act("ask for an exposure", Role.GUEST, Scope.READ),
    "ask_next_tests": Act("ask for the next tests", Role.MEMBER, Scope.READ),
    "compare": Act("compare members, cameras and papers", Role.MEMBER, Scope.READ),
    "read_doubts": Act("see which logs are doubtful", Role.MEMBER, Scope.READ),
    "read_pool": Act("see what its pool shares", Role.MEMBER, Scope.READ),
    "join_pool": Act("let the club join or leave the pool", Role.KEEPER, Scope.MANAGE),
    "merge_papers": Act("merge papers", Role.KEEPER, Scope.MANAGE),
    "read_packets": Act("see its packets", Role.KEEPER, Scope.READ),
    "exchange_packets": Act("exchange packets", Role.KEEPER, Scope.MANAGE),
    "read_imports": Act("see its imports", Role.MEMBER, Scope.READ),
    "import_rows": Act("import rows", Role.MEMBER, Scope.MANAGE),
    "undo_import": Act("undo imports", Role.MEMBER, Scope.MANAGE),
    "export_sheet": Act("export its data", Role.MEMBER, Scope.READ),
    "read_embeds": Act("see what other sites may show", Role.MEMBER, Scope.READ),
    "switch_embeds": Act("switch what other sites may show", Role.KEEPER, Scope.MANAGE),
    "read_archive": Act("take out the club's archive", Role.KEEPER, Scope.READ),
    "read_workshops": Act("see its workshops", Role.MEMBER, Scope.READ),
    "hold_workshop": Act("hold workshops", Role.LEADER, Scope.MANAGE),
    "let_join": Act("let people join by claim codes", Role.KEEPER, Scope.MANAGE),
    "read_places": Act("see the places of a workshop", Role.LEADER, Scope.READ),
    "change_place": Act("change places of a workshop", Role.LEADER, Scope.MANAGE),
    "close_workshop": Act("close workshops", Role.LEADER, Scope.MANAGE),
    "issue_workshop_sheet": Act("issue sheets of a workshop", Role.LEADER, Scope.MANAGE),
}


def allows(role: str, action: str, *, whose: Literal["own", "clubs", "others"] = "own") -> bool:
    """Whether a role, by its stored name, may do an action of `MAY` with what is its own, the club's or another's."""
    act = MAY[action]
    return Role[role.upper()] >= max(act.role, {"own": None, "clubs": act.clubs, "others": act.others}[whose] or 0)
