"""Claim codes: what opens one place of a workshop to whoever holds its slip of paper, and nothing else."""

import re

from clubs.codes import ALPHABET, new_code

#: 23^14 codes, 63 bits: with a hundred wrong ones in a quarter of an hour none is ever found by trying.
CODE_LENGTH = 14
_CODE = re.compile(f"[{ALPHABET}]{{{CODE_LENGTH}}}")
#: What a person writes between the letters: spaces, hyphens and dashes of every kind.
_BETWEEN = re.compile(r"[\s\-\u2010-\u2015]+")


def new_claim_code() -> str:
    """A code that nobody has had."""
    return new_code(CODE_LENGTH)


def shown_code(code: str) -> str:
    """As it is printed and read aloud: “ACDEFGH-JKMNPQR”."""
    return f"{code[:7]}-{code[7:]}"


def read_code(text: str) -> str | None:
    """The code that somebody wrote, in any case, with or without what stands between; None where it can be none."""
    found = _BETWEEN.sub("", text[:100]).upper()
    return found if _CODE.fullmatch(found) else None
