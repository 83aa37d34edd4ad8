"""Text for a terminal: paragraphs, lists, cautions and tables."""

import textwrap
from collections.abc import Iterator, Sequence
from datetime import date

WIDTH = 88


def wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent)


def listed(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent="  - ", subsequent_indent="    ")


def care(text: str) -> Iterator[str]:
    """Where to take care, after an empty line."""
    yield ""
    yield from textwrap.wrap(text, WIDTH, initial_indent="  ! ", subsequent_indent="    ")


def table(*rows: Sequence[str]) -> Iterator[str]:
    """Columns aligned, the first to the left, under a ruled head."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for number, (first, *others) in enumerate(rows):
        cells = [first.ljust(widths[0])] + [cell.rjust(w) for cell, w in zip(others, widths[1:], strict=True)]
        yield ("  " + "   ".join(cells)).rstrip()
        if number == 0:
            yield "  " + "-" * len("   ".join(cells))


def day(of: date) -> str:
    return f"{of.day} {of:%B %Y}"
