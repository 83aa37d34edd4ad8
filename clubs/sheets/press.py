"""Documents become PDF files and SVG pages.

Typst keeps some memory of every sheet, so it runs in child processes that are renewed (`typesetting.py`): as many as
`SHEET_PROCESSES`, started when first needed, each for one document at a time, ended where a document takes longer than
`SHEET_SECONDS` or where one has grown beyond `SHEET_PROCESS_BYTES`. A child that lost this process ends by itself.
"""

import atexit
import io
import json
import os
import queue
import select
import struct
import subprocess
import sys
import threading
from typing import Any

import segno
from pypdf import PdfWriter
from pypdf.generic import BooleanObject, DictionaryObject, NameObject

from clubs.sheets import typesetting
from clubs.sheets.documents import digest
from clubs.sheets.texts import breakable, legible, seen, shortened
from pinpool.conf import setting
from pinpool.http.problems import Unavailable

#: The side of a code's module on paper in mm, and of the whole code at least; four modules stay free around it.
MODULE_MM, LEAST_CODE_MM, QUIET_ZONE = 0.6, 24.0, 4
#: The longest words in small letters: of a title, a text, a code's text; a table's columns share `TABLE_WORD`.
TITLE_WORD, WORD, CODE_WORD, TABLE_WORD = 30, 60, 60, 80


def pdf(document: dict[str, Any]) -> bytes:
    """The document as a tagged PDF/UA-1 file that asks to be printed without scaling.

    Raises `Unavailable` where the typesetter took too long or stopped.
    """
    return _printed_unscaled(_ask(document, "pdf"))


def svgs(document: dict[str, Any]) -> list[str]:
    """The document's pages as SVG texts, each with its title; raises as `pdf` does."""
    pages: list[str] = json.loads(_ask(document, "svg"))
    return [_titled(page, document["title"], number, len(pages)) for number, page in enumerate(pages, 1)]


def close() -> None:
    """End this process's typesetters; the next document starts new ones."""
    if press := _presses.pop(os.getpid(), None):
        press.close()


class _Child:
    """A typesetter of our own, used by one thread at a time."""

    def __init__(self, fonts: str) -> None:
        command = [sys.executable, "-P", typesetting.__file__, fonts]
        pipes: dict[str, Any] = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
        # A session of its own: what stops the service by its terminal must not stop a sheet half-way.
        self._process = subprocess.Popen(command, **pipes, start_new_session=True)  # noqa: S603  (ours)

    @property
    def alive(self) -> bool:
        """Whether it still runs and has closed nothing: unasked it says nothing."""
        heard = select.poll()
        heard.register(self._process.stdout or -1, select.POLLIN)
        return self._process.poll() is None and not heard.poll(0)

    def answer(self, order: bytes, seconds: float) -> tuple[bytes, int]:
        """What it makes of an order, and its memory in bytes; it is of no more use where this raises."""
        stdin, stdout = self._process.stdin, self._process.stdout
        assert stdin is not None  # noqa: S101  (for the type checker)
        assert stdout is not None  # noqa: S101
        late = threading.Event()

        def kill() -> None:
            late.set()
            self._process.kill()

        timer = threading.Timer(seconds, kill)
        timer.start()
        try:
            typesetting.write_frame(stdin, order)
            answer = typesetting.read_frame(stdout)
        except OSError:
            answer = None
        finally:
            timer.cancel()
        if late.is_set():
            raise Unavailable(f"This sheet took longer than {seconds:g} s to set; ask for one with less on it.")
        if answer is None:
            raise Unavailable("The typesetter stopped in the middle of this sheet. Ask again.")
        (memory_kb,) = struct.unpack(">I", answer[1:5])
        if answer[:1] != b"=":
            raise RuntimeError("The typesetter refused a checked document: " + answer[5:].decode())
        return answer[5:], memory_kb * 1024

    def end(self) -> None:
        self._process.kill()
        self.part()
        self._process.wait()

    def part(self) -> None:
        """Let go of it without ending it."""
        for pipe in (self._process.stdin, self._process.stdout):
            try:
                if pipe:
                    pipe.close()
            except OSError:  # what a dead child did not read
                pass

    def disown(self) -> None:
        """In a process that was forked off: it is the other's child."""
        self.part()
        self._process.returncode = 0


class _Press:
    """The children of this process; the one used last is taken first."""

    def __init__(self, processes: int) -> None:
        self._free: queue.LifoQueue[_Child | None] = queue.LifoQueue()
        self._all: set[_Child] = set()
        for _ in range(processes):
            self._free.put(None)

    def answer(self, order: bytes) -> bytes:
        seconds = setting("SHEET_SECONDS")
        try:
            child = self._free.get(timeout=seconds)
        except queue.Empty:
            raise Unavailable("Too many sheets are being set just now. Ask again in a moment.") from None
        kept = None
        try:
            if child is None or not child.alive:
                child = self._renewed(child)
            answer, memory_bytes = child.answer(order, seconds)
            if memory_bytes < setting("SHEET_PROCESS_BYTES"):
                kept = child
        finally:
            if child is not None and kept is None:
                self._end(child)
            self._free.put(kept)
        return answer

    def _renewed(self, dead: _Child | None) -> _Child:
        if dead is not None:
            self._end(dead)
        child = _Child(str(setting("SHEET_FONTS")))
        self._all.add(child)
        return child

    def _end(self, child: _Child) -> None:
        child.end()
        self._all.discard(child)

    def close(self) -> None:
        for child in list(self._all):
            self._end(child)

    def disown(self) -> None:
        for child in self._all:
            child.disown()


#: By process: one that is forked off starts its own.
_presses: dict[int, _Press] = {}


def _press_here() -> _Press:
    return _presses.setdefault(os.getpid(), _Press(setting("SHEET_PROCESSES")))


def _ask(document: dict[str, Any], form: str) -> bytes:
    return _press_here().answer(json.dumps({"form": form, "document": _prepared(document)}).encode())


def _after_fork() -> None:
    for press in _presses.values():
        press.disown()


os.register_at_fork(after_in_child=_after_fork)
atexit.register(close)


def _prepared(document: dict[str, Any]) -> dict[str, Any]:
    """The document as `sheet.typ` reads it: what stands on every page made short, each code drawn."""
    number, title = document.get("number"), _title(document["title"]) or "A sheet without a title"
    running = shortened(title, 60)
    return {
        "title": breakable(title, TITLE_WORD),
        "subtitle": breakable(legible(document["subtitle"]), WORD),
        "running": running if number is None else f"Sheet {number} · {running}",
        "about": shortened(legible(document["subject"]), 45),
        "page": document["page"],
        "digest": digest(document)[:12],
        "date": legible(document["made_at"])[:10],
        "sections": [*map(_section, (*document["sections"], *_changes(document)))],
    }


def _changes(document: dict[str, Any]) -> list[dict[str, Any]]:
    """What changed since the sheet before of the same kind and subject, as a section."""
    changes = document.get("changes")
    if not changes:
        return []
    listed = {"kind": "text", "text": "\n".join(changes["text"])}
    return [{"title": f"Changed since sheet {changes['since']}", "blocks": [listed]}]


def _section(section: dict[str, Any]) -> dict[str, Any]:
    blocks = [_block(block) for block in section["blocks"]]
    return {"title": breakable(_title(section["title"]), TITLE_WORD), "blocks": blocks}


def _title(text: str) -> str:
    """A heading's text; a tagged file may have none that shows nothing."""
    text = legible(text)
    return text if seen(text) else ""


def _block(block: dict[str, Any]) -> dict[str, Any]:
    kept = {name: value for name, value in block.items() if name not in {"svg", "kind"}}
    most = {"code": CODE_WORD, "facts": TABLE_WORD // 2}.get(block["kind"], WORD)
    if block["kind"] == "table":
        most = max(TABLE_WORD // len(block["columns"]), 8)
    shown = {name: _shown(value, most) for name, value in kept.items()} | {"kind": block["kind"]}
    if block["kind"] == "drawing":
        return shown | {"svg": block["svg"]}
    if block["kind"] == "code":
        return shown | code_svg(block["text"])
    return shown


def _shown(value: Any, most: int) -> Any:
    if isinstance(value, str):
        return breakable(legible(value), most)
    return [_shown(part, most) for part in value] if isinstance(value, list) else value


def code_svg(text: str) -> dict[str, Any]:
    """A QR code of `text` as `svg`, with its quiet zone, and its `side_mm`."""
    matrix = segno.make_qr(text, error="m").matrix
    side = len(matrix) + 2 * QUIET_ZONE
    runs = "".join(
        f"M{x + QUIET_ZONE} {y + QUIET_ZONE}h{length}v1h-{length}z"
        for y, row in enumerate(matrix)
        for x, length in _runs(row)
    )
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {side} {side}"><path d="{runs}"/></svg>'
    return {"svg": svg, "side_mm": max(LEAST_CODE_MM, MODULE_MM * side)}


def _runs(row: bytearray) -> list[tuple[int, int]]:
    """Start and length of each run of dark modules."""
    edges = [
        index for index in range(len(row) + 1) if (index < len(row) and row[index]) != (index > 0 and row[index - 1])
    ]
    return [(start, end - start) for start, end in zip(edges[::2], edges[1::2], strict=True)]


def _titled(page: str, title: str, number: int, pages: int) -> str:
    """An SVG page that says what it is to who cannot see it."""
    said = legible(f"{title}, page {number} of {pages}")
    escaped = said.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    at = page.index(">") + 1
    return f'{page[: at - 1]} role="img">' + f"<title>{escaped}</title>" + page[at:]


def _printed_unscaled(made: bytes) -> bytes:
    """The PDF with `/PrintScaling /None` among its viewer preferences.

    Typst writes its catalog last and in plain, so that only the table of objects moves; a file of another build is
    written on by pypdf, which takes ten times as long as setting it.
    """
    wanted, start = b"/ViewerPreferences<<", b"startxref\n"
    catalog, table = made.rfind(b"<</Type/Catalog/"), made.rfind(b"\nxref\n")
    at, told = made.rfind(wanted), made.rfind(start) + len(start)
    plain = 0 < catalog < at < table < told and b" obj" not in made[catalog:table]
    if not plain or made[told:].split()[0] != b"%d" % (table + 1):
        return _written_on(made)
    added, end = b"/PrintScaling/None", at + len(wanted)
    return made[:end] + added + made[end:told] + b"%d\n%%%%EOF" % (table + 1 + len(added))


def _written_on(made: bytes) -> bytes:
    writer = PdfWriter(io.BytesIO(made), incremental=True)
    root = writer.root_object
    preferences = root.get("/ViewerPreferences", DictionaryObject()).get_object()
    preferences[NameObject("/PrintScaling")] = NameObject("/None")
    preferences[NameObject("/DisplayDocTitle")] = BooleanObject(True)
    root[NameObject("/ViewerPreferences")] = preferences
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()
