"""What the core says when it cannot answer, and when it answers with a doubt."""

from dataclasses import dataclass


class Impossible(ValueError):
    """A shape, hole or exposure that cannot exist as described.

    `code` is stable and meant for programs; the message is a sentence for a person and says what would
    have to change; `field` names the parameter at fault (`"length"`), dotted where nested, or is empty.
    """

    def __init__(self, code: str, message: str, field: str = "") -> None:
        super().__init__(message)
        self.code = code
        self.field = field


@dataclass(frozen=True)
class Flag:
    """A reason to doubt a result: a stable `code` and a sentence that quotes the figure behind it."""

    code: str
    text: str
