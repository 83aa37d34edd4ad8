"""Short codes that survive being read aloud and copied by hand."""

import secrets

#: No 0 O, 1 I L, 2 Z, 5 S, 8 B, U V: nothing that is taken for something else.
ALPHABET = "34679ACDEFGHJKMNPQRTWXY"


def new_code(length: int = 4) -> str:
    """A random code of `length` characters; 4 give 279 841 codes, enough for one club's cameras."""
    return "".join(secrets.choice(ALPHABET) for _ in range(length))
