"""A workshop's pack of printed sheets: how long and how much memory, alone and eight at once, against an HTML printer.

    uv run python tests/bench/sheets.py [packs, default 200]    our own figures
    uv run --with weasyprint python tests/bench/sheets.py       beside weasyprint on a like page, in the same run

The pack is what 30 places of a workshop take home: each a camera's specification with its drawings and code.
"""

import io
import math
import os
import resource
import statistics
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from html import escape
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "pinpool.settings")
import django

django.setup()

import pypdfium2
from figures import Figure, print_table

from clubs.models import Club
from clubs.sheets import press
from clubs.sheets.camera import SheetCamera
from clubs.sheets.camera_spec import TITLE, camera_spec
from clubs.sheets.documents import document
from optics import contributed
from optics.core.camera_plan import Hole

PLACES, ROUNDS, PACKS, MOST_GROWTH = 30, 5, 200, 1.1
COMMAND = "uv run --with weasyprint python tests/bench/sheets.py"


def sections(place: int) -> list[dict[str, Any]]:
    size = 95.0 + place
    plane = contributed.film_plane("drum", height_mm=80.0, diameter_mm=size, length_mm=1.5 * size)
    hole = Hole(0.3 + place / 500, 0.01, 0.05)
    url = f"https://club.example/api/v1/clubs/saltmarsh/cameras/P{place}/"
    club = Club(slug="saltmarsh", name="Saltmarsh club (invented)")
    code, name = f"P{place}", f"Tea caddy {place}"
    camera = SheetCamera(club, code, name, "spec 1", plane, hole, plane.mean_mm, 2.0, url)
    return [*camera_spec(camera, sheet_mm=(203.2, 254.0)), {"title": "", "blocks": [{"kind": "break"}]}]


def pack_of(places: int, round_: int = 0) -> dict[str, Any]:
    made = [section for place in range(places) for section in sections(place)]
    facts = {"kind": "pack", "title": f"{TITLE}, round {round_}", "subject": "workshop 1"}
    return document(**facts, made_at="2026-11-25T10:00:00+00:00", sections=made)


def as_html(whole: dict[str, Any]) -> str:
    """The same texts, tables and drawings as an HTML printer takes them."""
    parts = ["<style>@page{size:A4;margin:20mm}table{border-collapse:collapse}td,th{border-bottom:1px solid}</style>"]
    for section in whole["sections"]:
        parts.append(f"<h2>{escape(section['title'])}</h2>")
        for block in section["blocks"]:
            rows = block.get("rows", [])
            columns = "".join(f"<th>{escape(cell)}</th>" for cell in block.get("columns", []))
            cells = ("".join(f"<td>{escape(cell)}</td>" for cell in row) for row in rows)
            parts += [f"<table><thead><tr>{columns}</tr></thead>{''.join(f'<tr>{row}</tr>' for row in cells)}</table>"]
            items = "".join(f"<li>{escape(item)}</li>" for item in block.get("items", []))
            parts += [f"<ol>{items}</ol>", f"<p>{escape(block.get('text', ''))}</p>", block.get("svg", "")]
            if block["kind"] == "code":
                parts.append(press.code_svg(block["text"])["svg"].replace("<svg ", '<svg width="30mm" height="30mm" '))
            if block["kind"] == "break":
                parts.append('<div style="page-break-after:always"></div>')
    return "<!DOCTYPE html><html lang='en'><title>Pack</title>" + "".join(parts)


def pages_of(pdf: bytes) -> int:
    found = pypdfium2.PdfDocument(pdf)
    try:
        return len(found)
    finally:
        found.close()


def timed(work: Callable[[], Any], rounds: int = ROUNDS) -> float:
    """The median of so many rounds, s."""
    took = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        took.append(time.perf_counter() - start)
    return statistics.median(took)


def memory_mb(process: int | str = "self") -> float:
    """What a process holds now."""
    pages = int(Path(f"/proc/{process}/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


def children() -> list[str]:
    found = Path("/proc/self/task").glob("*/children")
    return [child for each in found for child in each.read_text().split()]


def measure(packs: int = PACKS) -> list[Figure]:
    row = partial(Figure, command=COMMAND)
    one, pack = pack_of(1), pack_of(PLACES)
    pages = pages_of(press.pdf(pack))
    press.pdf(one)
    single, alone = (timed(lambda whole=whole: press.pdf(whole)) for whole in (one, pack))
    composed = timed(lambda: pack_of(PLACES), 3)
    others = iter([pack_of(PLACES, n) for n in range(1, 1 + ROUNDS)])
    fresh = timed(lambda: press.pdf(next(others)))
    eight = [pack_of(PLACES, n) for n in range(10, 18)]
    with ThreadPoolExecutor(8) as threads:
        start = time.perf_counter()
        list(threads.map(press.pdf, eight))
        at_once = time.perf_counter() - start
    of = f"pack of {PLACES} places, {pages} pages"
    return [
        row("sheets of one place", 1000 * single, "ms"),
        row(f"sheets: {of}, the same again", alone, "s"),
        row(f"sheets: {of}, another each time", fresh, "s"),
        row(f"sheets: {of}, put together before it is set", composed, "s"),
        row("sheets: eight packs at once, beside eight one by one", at_once, "s", 8 * fresh, at_once / (8 * fresh)),
        *beside_weasyprint(pack, alone),
        *growth(packs),
    ]


def beside_weasyprint(pack: dict[str, Any], alone: float) -> list[Figure]:
    name, goal = f"sheets: pack of {PLACES} places, beside an HTML printer", "≥ 10 × as fast as weasyprint"
    try:
        import weasyprint  # noqa: PLC0415  (only with `--with weasyprint`)
    except ImportError:
        return [Figure(name, math.nan, goal="not measured: weasyprint is not installed here", command=COMMAND)]
    html, made = as_html(pack), io.BytesIO()
    theirs = timed(lambda: weasyprint.HTML(string=html).write_pdf(made), 1)
    return [Figure(name, alone, "s", theirs, theirs / alone, goal, theirs / alone >= 10, COMMAND)]


def growth(packs: int) -> list[Figure]:
    """What this process and its typesetters hold after so many packs of 6 places, of what they held after a fifth."""
    seen = []
    for n in range(packs):
        press.pdf(pack_of(6, 1000 + n))
        if n + 1 in {packs // 5, packs}:
            seen.append(memory_mb() + sum(memory_mb(child) for child in children()))
    early, late = seen
    goal = f"≤ {MOST_GROWTH} × what they held after {packs // 5}"
    name = f"sheets: memory of all processes after {packs} packs"
    return [Figure(name, late, "MB", early, late / early, goal, late / early <= MOST_GROWTH, COMMAND)]


if __name__ == "__main__":
    print_table(measure(*(int(packs) for packs in sys.argv[1:2])))
