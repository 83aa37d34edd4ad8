"""The table of roles that people read is the one that the code goes by.

python -m tests.architecture.test_roles_table prints it anew.
"""

from pathlib import Path

from clubs.roles import MAY, Act, Role

GUIDE = Path(__file__).parents[2] / "DEVELOPERS.md"
HEADING = ("to", "one's own", "the club's", "another's", "token")


def table() -> str:
    """The least role for each action, with what is whose, and the least scope of a token."""
    rows = [HEADING, ("---",) * len(HEADING), *(row(action, act) for action, act in MAY.items())]
    return "\n".join(f"| {' | '.join(cells)} |" for cells in rows)


def row(action: str, act: Act) -> tuple[str, ...]:
    def least(more: Role | None) -> str:
        return max(act.role, more or act.role).name.lower()

    return f"`{action}`", act.role.name.lower(), least(act.clubs), least(act.others), str(act.scope)


def test_the_guide_holds_the_table_of_the_code() -> None:
    assert table() in GUIDE.read_text()


if __name__ == "__main__":
    print(table())  # noqa: T201
