"""The typesetter: a process of its own that reads documents, and answers each as PDF or SVG pages.

Run as a file by `clubs.sheets.press`: it imports typst and the standard library alone, so it starts quickly and grows
by nothing but what typst keeps. A frame is four bytes of length, the lowest last, and so many bytes: JSON in, and out
one byte that says how it went (`=` done, `!` refused, with a sentence), its memory in kB as four bytes, and
the result.
"""

import json
import os
import re
import resource
import struct
import sys
import unicodedata
from pathlib import Path
from typing import IO, Any

import typst

TEMPLATE = Path(__file__).with_name("sheet.typ")
#: What stands for letters that no font has; typst's own fonts have it.
STAND_IN = "□"
#: As `texts.breakable` leaves it in long words.
PLACE_TO_BREAK = "\u200b"
#: How often letters may be found missing before only those that are surely there are left.
ROUNDS = 6

_HELD = Path("/proc/self/statm")
_MISSING = re.compile(r'the text `"(.*?)"` could not be displayed', re.DOTALL)
_ESCAPED = re.compile(r"\\u\{([0-9a-f]+)\}")


class Typesetter:
    """Typst with our template and fonts, loaded once."""

    def __init__(self, fonts: str) -> None:
        paths = [fonts] if fonts else []
        own = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=paths)
        self._families = own.families()
        folder = str(TEMPLATE.parent)
        self._compiler = typst.Compiler(str(TEMPLATE), root=folder, font_paths=paths, ignore_system_fonts=True)

    def typeset(self, document: dict[str, Any], form: str) -> bytes:
        """A PDF/UA-1 file, or the pages as a JSON list of SVG texts."""
        text = json.dumps({**document, "fonts": self._families, "missing": False, "stand_in": STAND_IN})
        made, text = self._with_letters_there(text)
        if form == "pdf":
            return made
        pages = self._compiler.compile(format="svg", sys_inputs={"data": text})
        listed = pages if isinstance(pages, list) else [pages or b""]
        return json.dumps([page.decode() for page in listed]).encode()

    def _with_letters_there(self, text: str) -> tuple[bytes, str]:
        """The PDF, and the data with every letter replaced that no font has."""
        data: Any = json.loads(text)
        for _ in range(ROUNDS):
            try:
                made = self._pdf(text)
            except typst.TypstError as fault:
                missing = _missing(str(fault.diagnostic))
                if not missing:
                    raise
            else:
                return made, text
            table = {ord(letter): _instead(letter) for part in missing for letter in part if not letter.isascii()}
            data = _replaced(data, table) | {"missing": True}
            text = json.dumps(data)
        data = _latin_only(data) | {"missing": True}
        text = json.dumps(data)
        return self._pdf(text), text

    def _pdf(self, text: str) -> bytes:
        made = self._compiler.compile(format="pdf", sys_inputs={"data": text}, pdf_standards=["ua-1"])
        assert isinstance(made, bytes)  # noqa: S101  (a PDF is one file)
        return made


def _missing(diagnostic: str) -> set[str]:
    found = _MISSING.findall(diagnostic)
    return {_ESCAPED.sub(lambda code: chr(int(code[1], 16)), part) for part in found}


def _instead(letter: str) -> str:
    """Nothing for what is only a sign to the typesetter, such as a joiner; a place to break stays."""
    if letter == PLACE_TO_BREAK:
        return letter
    return "" if unicodedata.category(letter) == "Cf" else STAND_IN


def _replaced(value: Any, table: dict[int, str]) -> Any:
    """Every text in `value`, of drawings too, with letters replaced."""
    if isinstance(value, str):
        return value.translate(table)
    if isinstance(value, list):
        return [_replaced(part, table) for part in value]
    if isinstance(value, dict):
        return {key: _replaced(part, table) for key, part in value.items()}
    return value


class _Latin(dict[int, str]):
    """Letters of ASCII and Latin-1 as they are, all others replaced."""

    def __missing__(self, code: int) -> str:
        return chr(code) if code < 0x100 or chr(code) == PLACE_TO_BREAK else STAND_IN


def _latin_only(data: Any) -> Any:
    return _replaced(data, _Latin())


def read_frame(stream: IO[bytes]) -> bytes | None:
    """The next frame, or None at the end of the stream."""
    head = stream.read(4)
    if len(head) < 4:
        return None
    (length,) = struct.unpack(">I", head)
    body = stream.read(length)
    return body if len(body) == length else None


def write_frame(stream: IO[bytes], body: bytes) -> None:
    stream.write(struct.pack(">I", len(body)) + body)
    stream.flush()


def memory_kb() -> int:
    """What this process holds. Where the system does not say, its peak, which counts the one that started it too."""
    try:
        pages = int(_HELD.read_text().split()[1])
    except FileNotFoundError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return pages * resource.getpagesize() // 1024


def main() -> None:
    """Answer until the one who asks is gone."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever else is written there is no answer
    typesetter = Typesetter(sys.argv[1])
    while (asked := read_frame(sys.stdin.buffer)) is not None:
        order = json.loads(asked)
        try:
            done, result = b"=", typesetter.typeset(order["document"], order["form"])
        except typst.TypstError as fault:
            done, result = b"!", str(fault.diagnostic).encode()
        write_frame(answers, done + struct.pack(">I", memory_kb()) + result)


if __name__ == "__main__":
    main()
