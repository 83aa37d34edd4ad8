"""By what name clubs know the same paper: the maker's words and the family, freed of how somebody wrote them."""

import re
import unicodedata


def plain_words(text: str) -> str:
    """Small letters and figures, one space between words: “Glasswort  No.2” and “GLASSWORT no 2” are the same.

    What has neither letters nor figures stays as it is, so that two such names remain two.
    """
    text = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", text).casefold())
    kept = "".join(sign if unicodedata.category(sign)[0] in "LMN" else " " for sign in text)
    apart = re.sub(r"(?<=\d)(?=[^\d\s])|(?<=[^\d\s])(?=\d)", " ", kept)
    return " ".join(apart.split()) or text.strip().replace("|", "/")


def catalogue_key(*, name: str, family: str) -> str:
    """The key of a paper in the catalogue, at most 200 characters: its words, a bar, its family's words.

    The key made of a key's own words is that key.
    """
    return f"{plain_words(name)[:130].rstrip()}|{plain_words(family)[:69].rstrip()}"


def family_of(key: str) -> str:
    """The family in a catalogue key."""
    return key.rpartition("|")[2]
