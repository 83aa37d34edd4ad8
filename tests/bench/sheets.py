"""A workshop's pack of printed sheets: how long and how much memory, alone and eight at once, against an HTML printer.

    uv run python tests/bench/sheets.py                         our own figures
    uv run --with weasyprint python tests/bench/sheets.py       beside weasyprint on a like page, in the same run

The pack is what 30 places of a workshop take home: each a camera's specification with its drawings and code.
"""

import io
import os
import resource
import statistics
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from html import escape
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "pinpool.settings")
import django

django.setup()

import pypdfium2

from clubs.models import Club
from clubs.sheets import press
from clubs.sheets.camera import SheetCamera
from clubs.sheets.camera_spec import TITLE, camera_spec
from clubs.sheets.documents import document
from optics import contributed
from optics.core.camera_plan import Hole

PLACES, ROUNDS, PACKS = 30, 5, 200


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


def main() -> None:
    one, pack = pack_of(1), pack_of(PLACES)
    press.pdf(one)
    print(f"one place, {pages_of(press.pdf(one))} pages: {1000 * timed(lambda: press.pdf(one)):.0f} ms")
    pages = pages_of(press.pdf(pack))
    alone = timed(lambda: press.pdf(pack))
    print(f"pack of {PLACES} places, {pages} pages: {alone:.2f} s the same again, {alone / pages * 1000:.1f} ms a page")
    others = iter([pack_of(PLACES, n) for n in range(1, 1 + ROUNDS)])
    fresh = timed(lambda: press.pdf(next(others)))
    print(f"another pack each time: {fresh:.2f} s")
    print(f"putting it together: {timed(lambda: pack_of(PLACES), 3):.2f} s")
    eight = [pack_of(PLACES, n) for n in range(10, 18)]
    with ThreadPoolExecutor(8) as threads:
        start = time.perf_counter()
        list(threads.map(press.pdf, eight))
        print(f"eight packs at once: {time.perf_counter() - start:.2f} s in all")
    print(
        f"memory: {memory_mb():.0f} MB here, {', '.join(f'{memory_mb(c):.0f}' for c in children())} MB in typesetters"
    )

    try:
        import weasyprint  # noqa: PLC0415  (only with `--with weasyprint`)
    except ImportError:
        print("weasyprint: not there; see the top of this file")
    else:
        for name, whole in (("one place", one), ("pack", pack)):
            html = as_html(whole)
            ours = timed(lambda whole=whole: press.pdf(whole), 3)
            made = io.BytesIO()
            theirs = timed(lambda html=html, made=made: weasyprint.HTML(string=html).write_pdf(made), 1)
            print(f"{name}: {ours:.3f} s, weasyprint {theirs:.2f} s: {theirs / ours:.0f} times as long")

    seen = []
    for n in range(PACKS):
        press.pdf(pack_of(6, 1000 + n))
        if n % 40 == 39:
            seen.append(f"{memory_mb():.0f}+{sum(memory_mb(child) for child in children()):.0f}")
    print(f"over {PACKS} packs of 6 places: {', '.join(seen)} MB (here + typesetters)")


if __name__ == "__main__":
    main()
