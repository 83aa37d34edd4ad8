"""The job's drawings: the box's section in plain text for the report, and files to scale beside it."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from exposures.demo.job import Job
from optics.core.film_planes import FilmPlane
from optics.core.section_svg import section_svg
from optics.core.sheet_cuts_svg import sheet_cuts_svg

COLUMNS = 61
#: A character is about twice as high as it is wide.
ASPECT = 2.0


def draw_section(strip: FilmPlane, sheet: FilmPlane) -> Iterator[str]:
    """`strip` drawn with #, `sheet` with =, on one scale both ways; the scene and the hole at the top."""
    drawn = [("=", *_line(sheet)), ("#", *_line(strip))]
    reach = max(float(np.abs(x).max()) for _, x, _ in drawn)
    depth = max(float(z.max()) for _, _, z in drawn)
    mm_per_column = 2 * reach / (COLUMNS - 1)
    rows = round(depth / (ASPECT * mm_per_column))
    grid = np.full((rows + 1, COLUMNS), " ")
    grid[:, [0, -1]] = "|"
    grid[0] = "-"
    for mark, x, z in drawn:
        column = np.rint((x + reach) / mm_per_column).astype(int)
        row = np.rint(z / (ASPECT * mm_per_column)).astype(int)
        grid[row, column] = mark
    grid[0, COLUMNS // 2] = "o"
    for line in grid:
        yield "    " + "".join(line).rstrip()
    yield f"    # strip   = flat sheet   o hole   From above, the scene at the top; {mm_per_column:.1f} mm a letter."


def _line(plane: FilmPlane) -> tuple[np.ndarray, np.ndarray]:
    line = plane.columns(np.linspace(-0.5, 0.5, 2001) * plane.length_mm)
    return line.x_mm, line.z_mm


@dataclass(frozen=True)
class Drawings:
    """Where the SVG files are."""

    section: Path
    cuts: Path


def write_drawings(job: Job, folder: Path) -> Drawings:
    """Draw the section and the cutting plan into `folder`, over what an earlier run left there."""
    folder.mkdir(parents=True, exist_ok=True)
    files = Drawings(folder / "section.svg", folder / "sheet-cuts.svg")
    title = "How the strip lies in the slide box (an invented box)"
    files.section.write_text(section_svg(job.strip.answer, title=title), encoding="utf-8")
    files.cuts.write_text(sheet_cuts_svg(job.cuts.answer["plan"]), encoding="utf-8")
    return files
