"""Where drawn lines came out on a printed page: a page at 600 dpi laid over what should be on it, point by point.

The lines as they should be are rastered here by themselves, from their coordinates alone. How far the print lies off
them is found near each point by the best match of the two rasters, to a small part of a pixel.
"""

import itertools
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageColor, ImageDraw
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.signal import fftconvolve

from optics.core.templates.svg import STROKES
from optics.core.templates.template import Length, Line, Point
from tests.clubs.sheets.printed import MM

Floats = NDArray[np.float64]
#: Around a point, how far the match looks, and by how much both rasters are blurred, mm.
REACH_MM, BLUR_MM = 2.5, 0.12
#: Paper round a drawing's raster, mm.
ROOM_MM = 5.0


def ink(grey: NDArray[np.uint8]) -> Floats:
    """0 for paper, 1 for ink."""
    return 1 - grey.astype(float) / 255


def ideal(lines: Sequence[Line], width_mm: float, height_mm: float) -> Floats:
    """What the lines should look like, `ROOM_MM` of paper round them; twice as fine inside, then averaged.

    Each is as wide and as grey as its kind is drawn, with round joints, but without its dashes.
    """
    size = [round((length + 2 * ROOM_MM) / MM) for length in (width_mm, height_mm)]
    image = Image.new("L", (2 * size[0], 2 * size[1]), 0)
    draw = ImageDraw.Draw(image)
    for line in sorted(lines, key=lambda line: STROKES[line.role][1]):
        colour, stroke_mm, _ = STROKES[line.role]
        dark, half = 255 - ImageColor.getrgb(colour)[0], stroke_mm / MM
        points = [*line.points, line.points[0]] if line.closed else line.points
        dots = 2 * (np.array(points) + ROOM_MM) / MM
        for start, end in itertools.pairwise(dots):
            along = (end - start) / (np.hypot(*(end - start)) or 1)
            aside = half * np.array([-along[1], along[0]])
            draw.polygon([tuple(at) for at in (start + aside, end + aside, end - aside, start - aside)], fill=dark)
        for x, y in dots if line.closed else dots[1:-1]:
            draw.ellipse((x - half, y - half, x + half, y + half), fill=dark)
    fine = np.asarray(image, dtype=float) / 255
    return fine.reshape(size[1], 2, size[0], 2).mean(axis=(1, 3))


def laid_over(page: Floats, drawn: Floats) -> Point:
    """Where on the page the drawing's corner lies, in mm, by the best match of the two at a sixth of the fineness."""
    coarse = [image[: len(image) // 6 * 6, : image.shape[1] // 6 * 6] for image in (page, drawn)]
    small = [image.reshape(len(image) // 6, 6, image.shape[1] // 6, 6).mean(axis=(1, 3)) for image in coarse]
    match = fftconvolve(small[0], small[1][::-1, ::-1], mode="full")
    row, column = np.unravel_index(int(match.argmax()), match.shape)
    top, left = int(row) - len(small[1]) + 1, int(column) - small[1].shape[1] + 1
    return left * 6 * MM + ROOM_MM, top * 6 * MM + ROOM_MM


def off_mm(page: Floats, drawn: Floats, *, origin: Point, at: Point) -> Floats:
    """How far the page's ink lies off the drawing's about a point of the drawing, (2,) in mm, x and y.

    The shift of least squares between both, blurred and weighed towards the point, found by following the slopes of
    the page's grey (Lucas and Kanade 1981); along a line that has neither end nor bend there it is taken as 0.
    """
    reach = np.arange(-REACH_MM, REACH_MM + MM / 2, MM)
    across, down = np.meshgrid(reach, reach)
    weight = np.exp(-(across**2 + down**2) / REACH_MM**2)

    def sampled(image: Floats, x_mm: float, y_mm: float) -> Floats:
        rows, columns = (down + y_mm) / MM - 0.5, (across + x_mm) / MM - 0.5
        return gaussian_filter(map_coordinates(image, [rows, columns], order=1, mode="constant"), BLUR_MM / MM)

    wanted = sampled(drawn, at[0] + ROOM_MM, at[1] + ROOM_MM)
    off = np.zeros(2)
    for _ in range(12):
        found = sampled(page, origin[0] + at[0] + off[0], origin[1] + at[1] + off[1])
        slope_y, slope_x = np.gradient(found, MM)
        slopes = np.stack([slope_x, slope_y])
        bends = np.einsum("aij,bij,ij->ab", slopes, slopes, weight)
        off += np.linalg.pinv(bends, rcond=0.02) @ np.einsum("aij,ij,ij->a", slopes, wanted - found, weight)
    return off


def measured_mm(page: Floats, drawn: Floats, *, origin: Point, length: Length) -> float:
    """A length as it is on the page, by its ends, and where it bends by where the curve lies between them."""
    points = np.array(length.points)
    corners = points[np.unique(np.linspace(0, len(points) - 1, 9).round().astype(int))]
    found = np.array([corner + off_mm(page, drawn, origin=origin, at=tuple(corner)) for corner in corners])
    chords, as_found = (np.hypot(*np.diff(each, axis=0).T).sum() for each in (corners, found))
    return float(length.drawn_mm * as_found / chords)
