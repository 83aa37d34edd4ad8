"""Who may do what in a club: one table, from which permissions and their tests both come."""

from enum import IntEnum


class Role(IntEnum):
    """A member's role; each may do all that those below it may."""

    GUEST = 1
    MEMBER = 2
    LEADER = 3
    KEEPER = 4


ROLE_CHOICES = [(role.name.lower(), role.name.title()) for role in Role]

#: The least role for each thing that can be done inside a club.
MAY = {
    "read_club": Role.GUEST,
    "read_members": Role.MEMBER,
    "add_member": Role.KEEPER,
    "read_cameras": Role.GUEST,
    "register_camera": Role.MEMBER,
    "add_spec": Role.MEMBER,
    "read_papers": Role.GUEST,
    "add_paper": Role.LEADER,
    "read_exposures": Role.GUEST,
    "log_exposure": Role.MEMBER,
    "read_estimates": Role.GUEST,
    "ask_recommendation": Role.GUEST,
    "ask_next_tests": Role.MEMBER,
    "compare": Role.MEMBER,
    "read_doubts": Role.MEMBER,
    "read_pool": Role.MEMBER,
    "join_pool": Role.KEEPER,
    "merge_papers": Role.KEEPER,
    "read_packets": Role.KEEPER,
    "exchange_packets": Role.KEEPER,
}


def allows(role: str, action: str) -> bool:
    """Whether a role, by its stored name, may do an action of `MAY`."""
    return Role[role.upper()] >= MAY[action]
