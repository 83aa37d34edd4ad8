"""What a text becomes before it is set: without signs that nobody sees, and with places to break where it has none."""

import re
import unicodedata

#: Marks that turn the order of whatever follows, or lie about what stands there.
_TURNING = "".join(map(chr, (0x061C, 0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2066, 0x206A))))
_UNSEEN: dict[int, str | None] = dict.fromkeys((*range(10), *range(11, 32), *range(0x7F, 0xA0)))
_UNSEEN |= dict.fromkeys((0xFEFF, 0xFFFE, 0xFFFF, *map(ord, _TURNING)))
_UNSEEN |= {9: " ", 0x0B: "\n", 0x0C: "\n", 0x85: "\n", 0x2028: "\n", 0x2029: "\n"}
_HALF = re.compile("[\ud800-\udfff]")
_WORD = re.compile(r"\S+")
_ZERO_WIDTH_SPACE = "\u200b"


def legible(text: str) -> str:
    """The text without control characters, marks of direction and halves of letters; its line breaks as `\\n`."""
    return _HALF.sub("\ufffd", text.replace("\r\n", "\n").replace("\r", "\n").translate(_UNSEEN))


def breakable(text: str, most: int) -> str:
    """The text with a place to break in every word longer than `most` small letters, so that it stays on the page.

    Capitals, and letters beyond ASCII, count as two: no letter of a proportional font is much wider.
    """
    return _WORD.sub(lambda word: _broken(word[0], most), text)


def _broken(word: str, most: int) -> str:
    if 2 * len(word) <= most:
        return word
    parts, width = [""], 0
    for letter in word:
        width += 1 if letter.isascii() and not letter.isupper() else 2
        if width > most:
            parts.append("")
            width = 2
        parts[-1] += letter
    return _ZERO_WIDTH_SPACE.join(parts)


def seen(text: str) -> bool:
    """Whether anything of the text shows."""
    return any(unicodedata.category(letter)[0] in "LNPS" for letter in text)


def shortened(text: str, most: int) -> str:
    """The first line of the text in at most `most` letters."""
    line = " ".join(text.split())
    return line if len(line) <= most else line[: most - 1].rstrip() + "…"
