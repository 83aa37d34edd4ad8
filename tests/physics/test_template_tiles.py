"""Templates over several pages, and several on one page: nothing lost, nothing moved, neighbours meet."""

from collections import defaultdict
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from clubs.sheets.drawings import read_drawing
from optics.core.faults import Impossible
from optics.core.templates.clipping import clipped
from optics.core.templates.moving import turned
from optics.core.templates.packing import PlacedPage, fits, on_one, pack, page_svg
from optics.core.templates.svg import label_box, legend, template_svg
from optics.core.templates.template import Label, Line, Template
from optics.core.templates.tiling import LEAST_OVERLAP_MM, MOST_PAGES, Tile, assembly, drawn, tiles
from tests.physics.template_shapes import framed, template, templates

derandomised = settings(derandomize=True, deadline=None, max_examples=60)
pages = st.tuples(st.floats(100, 220), st.floats(100, 260))
overlaps = st.floats(LEAST_OVERLAP_MM, 25)
#: The room of a sheet on A4 for a drawing in true scale: clubs/sheets/blocks.py.
A4 = {"page_width_mm": 176.0, "page_height_mm": 220.0}

Floats = NDArray[np.float64]


def tiled(whole: Template, page: tuple[float, float], overlap_mm: float) -> tuple[Template, tuple[Tile, ...]]:
    """The template as it lies, and its tiles."""
    made = tiles(whole, page_width_mm=page[0], page_height_mm=page[1], overlap_mm=overlap_mm)
    return (turned(whole) if made[0].turned else whole), made


def segments(line: Line) -> Floats:
    """Start x, y and end x, y of each straight piece, shape (n, 4)."""
    points = np.array([*line.points, *line.points[:1]] if line.closed else line.points)
    return np.hstack([points[:-1], points[1:]])


def shares_on(segment: Floats, pieces: Floats) -> Floats:
    """From where to where along a segment, 0 to 1, those of the pieces lie that lie on it; shape (k, 2), sorted."""
    start, way = segment[:2], segment[2:] - segment[:2]
    from_start = pieces.reshape(-1, 2, 2) - start
    share = from_start @ way / (way @ way)
    off = np.abs(from_start - share[..., None] * way).max(axis=(1, 2))
    on = (off < 1e-5) & (share > -1e-5).all(axis=1) & (share < 1 + 1e-5).all(axis=1)
    return np.sort(np.sort(share[on], axis=1), axis=0)


# ------------------------------------------------------------------------------------------ clipping


@pytest.mark.parametrize(
    ("line", "pieces"),
    [
        (Line("cut", ((-5, 5), (15, 5))), [((0, 5), (10, 5))]),
        (Line("cut", ((2, 2), (8, 8))), [((2, 2), (8, 8))]),
        (Line("cut", ((-5, 5), (5, 15))), []),  # only touches the corner
        (Line("cut", ((0, -5), (0, 15))), [((0, 0), (0, 10))]),  # along the edge
        (Line("cut", ((5, 5), (15, 5), (15, 8), (5, 8))), [((5, 5), (10, 5)), ((10, 8), (5, 8))]),
        # A closed line that begins inside falls open into one piece, not two.
        (Line("cut", ((5, 2), (15, 2), (15, 8), (5, 8)), closed=True), [((10, 8), (5, 8), (5, 2), (10, 2))]),
        (Line("cut", ((-5, -5), (15, -5), (15, 15), (-5, 15)), closed=True), []),
    ],
)  # fmt: skip
def test_a_window_keeps_what_lies_in_it(line: Line, pieces: list[tuple[tuple[float, float], ...]]) -> None:
    found = clipped(line, (0, 0, 10, 10))
    assert [piece.points for piece in found] == pieces
    assert not any(piece.closed for piece in found)


def test_a_closed_line_inside_stays_closed() -> None:
    line = Line("cut", ((1, 1), (9, 1), (5, 9)), closed=True)
    assert clipped(line, (0, 0, 10, 10)) == (line,)


# ------------------------------------------------------------------------------------------ tiles


@derandomised
@given(whole=templates(), page=pages, overlap_mm=overlaps)
def test_tiles_hold_every_line_just_where_it_is(whole: Template, page: tuple[float, float], overlap_mm: float) -> None:
    """Each straight piece is covered from end to end, and no tile draws what is on none of the lines."""
    whole, made = tiled(whole, page, overlap_mm)
    for role in {line.role for line in whole.lines}:
        wholes = np.vstack([segments(line) for line in whole.lines if line.role == role])
        # Straight pieces so short that "on it" has no meaning to 1e-5 mm.
        assume((np.hypot(wholes[:, 2] - wholes[:, 0], wholes[:, 3] - wholes[:, 1]) > 1e-2).all())
        drawn_here = [
            segments(line) + np.tile([tile.x_mm, tile.y_mm], 2)
            for tile in made
            for line in tile.template.lines
            if line.role == role
        ]
        pieces = np.vstack([*drawn_here, np.empty((0, 4))])
        accounted = np.zeros(len(pieces), bool)
        for segment in wholes:
            shares = shares_on(segment, pieces)
            reached = np.maximum.accumulate(np.append(0.0, shares[:, 1]))
            assert (shares[:, 0] <= reached[:-1] + 1e-5).all()
            assert reached[-1] >= 1 - 1e-5
            accounted |= [len(shares_on(segment, piece[None])) == 1 for piece in pieces]
        assert accounted.all()


@derandomised
@given(whole=templates(), page=pages, overlap_mm=overlaps)
def test_tiles_fit_the_page_and_are_as_few_as_can_be(
    whole: Template, page: tuple[float, float], overlap_mm: float
) -> None:
    as_drawn = whole
    whole, made = tiled(whole, page, overlap_mm)
    for tile in made:
        assert tile.template.width_mm <= page[0] + 1e-9
        assert tile.template.height_mm <= page[1] + 1e-9
        points = np.vstack([line.points for line in drawn(tile).lines] or [(0.0, 0.0)])
        assert points.min() >= -1e-5
        assert (points <= np.array([tile.template.width_mm, tile.template.height_mm]) + 1e-5).all()

    def count(width_mm: float, height_mm: float) -> int:
        """[derived] n pages with n - 1 overlaps reach over n·page - (n - 1)·overlap."""
        across, down = (
            next(n for n in range(1, 100) if n * side - (n - 1) * overlap_mm >= length - 1e-6)
            for side, length in zip(page, (width_mm, height_mm), strict=True)
        )
        return across * down

    upright = count(as_drawn.width_mm, as_drawn.height_mm)
    lying = count(as_drawn.height_mm, as_drawn.width_mm)
    assert len(made) == min(upright, lying)
    assert made[0].turned == (lying < upright)
    assert {(tile.row, tile.column) for tile in made} == {
        (row, column) for row in range(made[0].rows) for column in range(made[0].columns)
    }


@derandomised
@given(whole=templates(least_mm=120), page=pages, overlap_mm=overlaps)
def test_neighbours_carry_the_same_marks_at_the_same_places(
    whole: Template, page: tuple[float, float], overlap_mm: float
) -> None:
    _, made = tiled(whole, page, overlap_mm)
    by_name = {tile.name: tile for tile in made}
    places = defaultdict(set)
    for tile in made:
        for mark in tile.marks:
            places[mark.name].add((tile.name, mark.x_mm, mark.y_mm, mark.reach_mm))
    neighbours = {
        (a.name, b.name) for a in made for b in made if (b.row - a.row, b.column - a.column) in {(0, 1), (1, 0)}
    }
    assert places.keys() == {f"{first}-{second}/{number}" for first, second in neighbours for number in (1, 2)}
    for name, shown in places.items():
        first, second = name.split("/")[0].split("-")
        assert {tile for tile, *_ in shown} == {first, second}
        assert len({at for _, *at in map(tuple, shown) for at in [tuple(at)]}) == 1
        (_, x, y, reach), *_ = shown
        for tile in (by_name[first], by_name[second]):
            assert tile.x_mm - 1e-9 <= x - reach
            assert x + reach <= tile.x_mm + tile.template.width_mm + 1e-9
            assert tile.y_mm - 1e-9 <= y - reach
            assert y + reach <= tile.y_mm + tile.template.height_mm + 1e-9


@pytest.mark.parametrize("size", [(700.0, 500.0), (176.5, 30.0), (20.0, 900.0)])
def test_marks_lie_far_apart_and_clear_of_each_other_and_their_words(size: tuple[float, float]) -> None:
    made = tiles(framed(*size), **A4)
    for tile in made:
        boxes = [
            box
            for mark in tile.marks
            for box in (
                (mark.x_mm - mark.reach_mm, mark.y_mm - mark.reach_mm, mark.x_mm + mark.reach_mm,
                 mark.y_mm + mark.reach_mm),
                label_box(mark.label),
            )
        ]  # fmt: skip
        for a, b in combinations(boxes, 2):
            assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
        for one, two in zip(tile.marks[::2], tile.marks[1::2], strict=True):
            apart = max(abs(one.x_mm - two.x_mm), abs(one.y_mm - two.y_mm))
            side = tile.template.height_mm if one.x_mm == two.x_mm else tile.template.width_mm
            assert apart >= side - 2 * tile.overlap_mm - 2 * one.reach_mm - 1e-9


def test_the_line_to_lay_up_to_is_the_next_parts_edge() -> None:
    made = {tile.name: tile for tile in tiles(framed(300, 400), **A4)}

    def level_and_upright(tile: Tile) -> set[tuple[str, float]]:
        extra = drawn(tile).lines[len(tile.template.lines) :]
        two = [line.points for line in extra if len(line.points) == 2]
        whole_way = [((x1, y1), (x2, y2)) for (x1, y1), (x2, y2) in two if abs(x1 - x2) + abs(y1 - y2) > 50]
        return {("x", tile.x_mm + a[0]) if a[0] == b[0] else ("y", tile.y_mm + a[1]) for a, b in whole_way}

    assert sorted(made) == ["A1", "A2", "B1", "B2"]
    edges = {("x", made["A2"].x_mm), ("y", made["B1"].y_mm)}
    assert all(level_and_upright(tile) == edges for tile in made.values())
    assert edges == {("x", 145.0), ("y", 195.0)}  # [derived] (300 - 10) / 2, (400 - 10) / 2


@derandomised
@given(whole=templates(), page=pages, overlap_mm=overlaps)
def test_every_label_is_on_a_tile_and_whole_where_it_can_be(
    whole: Template, page: tuple[float, float], overlap_mm: float
) -> None:
    whole, made = tiled(whole, page, overlap_mm)
    shown = defaultdict(list)
    for tile in made:
        for label in tile.template.labels:
            shown[label.text, label.letter_mm, label.turned_deg].append((tile, label))
    for label in whole.labels:
        found = shown[label.text, label.letter_mm, label.turned_deg]
        assert found
        box = np.array(label_box(label))
        if len(made) > 1 and (box[2:] - box[:2] <= [made[0].template.width_mm, made[0].template.height_mm]).all():
            for tile, own in found:
                left, top, right, bottom = label_box(own)
                assert min(left, top) >= -1e-5
                assert right <= tile.template.width_mm + 1e-5
                assert bottom <= tile.template.height_mm + 1e-5


def test_a_label_across_a_joint_moves_onto_the_part_it_begins_on() -> None:
    long = Label(140, 20, "a label far longer than the overlap", 3.0, "start")
    level = Line("cut", ((0, 50), (300, 50)))
    whole = template(300, 100, lines=(level,), labels=(long, Label(30, 40, "left"), Label(270, 40, "right")))
    first, second = tiles(whole, page_width_mm=176, page_height_mm=100)
    assert [label.text for label in first.template.labels] == [long.text, "left"]
    assert [label.text for label in second.template.labels] == ["right"]
    moved = first.template.labels[0]
    assert label_box(moved)[2] == pytest.approx(first.template.width_mm - 10)  # clear of the marks' strip
    assert moved.y_mm == 20


@derandomised
@given(whole=templates(), page=pages, overlap_mm=overlaps)
def test_promised_lengths_are_kept_on_tiles_and_by_turning(
    whole: Template, page: tuple[float, float], overlap_mm: float
) -> None:
    _, made = tiled(whole, page, overlap_mm)
    for tile in made:
        for length in tile.template.lengths:
            assert length.drawn_mm == pytest.approx(length.mm, rel=1e-9, abs=1e-9)
    around = turned(turned(turned(turned(whole))))
    for before, after in zip(whole.lines, around.lines, strict=True):
        assert np.array(after.points) == pytest.approx(np.array(before.points), abs=1e-9)
    for before, after in zip(whole.lengths, turned(whole).lengths, strict=True):
        assert after.drawn_mm == pytest.approx(before.drawn_mm, rel=1e-9, abs=1e-9)


def test_turning_is_a_rotation_and_no_mirror_image() -> None:
    whole = template(100, 40, lines=(Line("cut", ((0, 0), (100, 0), (100, 40))),), labels=(Label(10, 5, "front"),))
    lying = turned(whole)
    assert (lying.width_mm, lying.height_mm) == (40, 100)
    # Upper left corner to upper right, upper right to lower right, lower right to lower left: clockwise.
    assert lying.lines[0].points == ((40, 0), (40, 100), (0, 100))
    assert lying.labels[0] == Label(35, 10, "front", turned_deg=90)


@derandomised
@given(whole=templates(), page=pages, overlap_mm=overlaps)
def test_a_sheet_takes_every_tile_and_the_overview(
    whole: Template, page: tuple[float, float], overlap_mm: float
) -> None:
    _, made = tiled(whole, page, overlap_mm)
    for tile in made:
        part = drawn(tile)
        assert read_drawing(template_svg(part), width_mm=part.width_mm, height_mm=part.height_mm)[1] == []
    overview = assembly(whole, made)
    width, height = map(float, overview.split('viewBox="0 0 ')[1].split('"')[0].split())
    assert read_drawing(overview, width_mm=width, height_mm=height)[1] == []
    assert (width, height) <= (176.001, 80.001)
    assert all(f">{tile.name}</text>" in overview for tile in made)


def test_a_template_that_fits_stays_as_it_is() -> None:
    whole = framed(176, 220)
    (only,) = tiles(whole, **A4)
    assert (only.template, only.marks, only.turned) == (whole, (), False)
    assert drawn(only) == whole


def test_a_template_that_fits_lying_is_turned_and_says_so() -> None:
    whole = framed(220, 100)
    (only,) = tiles(whole, **A4)
    assert only.turned
    assert only.template.lines == turned(whole).lines
    assert "Turned by a quarter turn" in only.template.notes[-1]
    assert not any("Turned" in note for note in whole.notes)


@pytest.mark.parametrize(
    ("size", "overlap_mm", "code", "field", "said"),
    [
        ((300, 300), 4.9, "overlap_too_small", "overlap", "5 mm or more"),
        ((300, 300), np.nan, "overlap_too_small", "overlap", "5 mm or more"),
        ((300, 300), 176.0, "overlap_too_large", "overlap", "An overlap of 176 mm"),
        ((300, 300), 500.0, "overlap_too_large", "overlap", "An overlap of 500 mm"),
        # [derived] ⌈1990/166⌉ · ⌈1990/210⌉ = 12 · 10
        ((2000, 2000), 10.0, "too_many_pages", "page", "2000 × 2000 mm and would take 120 pages of 176 × 220 mm"),
    ],
)
def test_what_cannot_be_tiled_is_refused(
    size: tuple[float, float], overlap_mm: float, code: str, field: str, said: str
) -> None:
    with pytest.raises(Impossible, match=said) as refused:
        tiles(framed(*size), **A4, overlap_mm=overlap_mm)
    assert (refused.value.code, refused.value.field) == (code, field)
    assert MOST_PAGES == 100


# ------------------------------------------------------------------------------------------ several on a page


def boxes(page: PlacedPage) -> list[tuple[float, float, float, float]]:
    return [each.box for each in page.placed]


small = st.lists(
    st.builds(
        framed, st.floats(8, 130), st.floats(8, 130), st.text("abc ", min_size=1, max_size=60).map("Piece {}".format)
    ),
    min_size=1,
    max_size=12,
)


@derandomised
@given(pieces=small, gap_mm=st.floats(0, 10))
def test_pieces_lie_inside_apart_and_each_once(pieces: list[Template], gap_mm: float) -> None:
    pieces = [replace(piece, name=f"piece_{number}") for number, piece in enumerate(pieces)]
    made = pack(pieces, **A4, gap_mm=gap_mm)
    assert made == pack(pieces, **A4, gap_mm=gap_mm)
    assert sorted(each.template.name for page in made for each in page.placed) == sorted(piece.name for piece in pieces)
    for page in made:
        for left, top, right, bottom in boxes(page):
            assert min(left, top) >= -1e-9
            assert right <= page.width_mm + 1e-5
            assert bottom <= page.height_mm + 1e-5
        assert page.height_mm <= A4["page_height_mm"] + 1e-5
        for a, b in combinations(boxes(page), 2):
            assert max(b[0] - a[2], a[0] - b[2], b[1] - a[3], a[1] - b[3]) >= gap_mm - 1e-5
    by_name = {piece.name: piece for piece in pieces}
    for each in (each for page in made for each in page.placed):
        piece = by_name[each.template.name]
        assert each.template == (turned(piece) if each.turned else piece)


@derandomised
@given(pieces=small)
def test_a_page_of_pieces_is_drawn_whole(pieces: list[Template]) -> None:
    """Every line and length of every piece, each title whole above its drawing, in an SVG that a sheet takes."""
    for page in pack(pieces, **A4):
        one = on_one(page)
        assert read_drawing(page_svg(page), width_mm=one.width_mm, height_mm=one.height_mm)[1] == []
        assert len(one.lines) == len(page.placed)
        for each in page.placed:
            left, top, right, _ = each.box
            titled = [label for label in one.labels if label.text in each.title and label.x_mm == left]
            assert " ".join(each.title).split() == each.template.title.split()
            above = [label_box(label) for label in titled if top <= label.y_mm <= each.y_mm]
            assert len(above) >= len(each.title)
            assert all(box[1] >= top - 1e-9 and box[2] <= right + 1e-9 and box[3] <= each.y_mm for box in above)
        for length in one.lengths:
            assert length.drawn_mm == pytest.approx(length.mm, rel=1e-9)


def test_pieces_are_turned_only_where_that_saves_a_page() -> None:
    # [derived] Under its title a piece is 7.2 mm higher. Three of 55 × 170 mm stand side by side in 3 · 55 + 2 · 4 =
    # 173 mm; as drawn, the one 170 mm wide would have to lie below 177 mm and end at 177 + 4 + 62 mm.
    standing, lying = framed(55, 170, "Rail"), framed(170, 55, "Rail")
    (page,) = pack([standing, lying, standing], **A4)
    assert [each.turned for each in page.placed].count(True) == 1
    ((only,),) = (page.placed for page in pack([framed(200, 50, "Rail")], **A4))
    assert only.turned
    (page,) = pack([framed(80, 60, "Rail")] * 2, **A4)
    assert not any(each.turned for each in page.placed)


def test_a_piece_too_large_for_a_page_is_sent_to_the_tiles() -> None:
    assert fits(framed(176, 200), **A4)
    assert fits(framed(200, 100), **A4)
    assert not fits(framed(176, 219), **A4)
    with pytest.raises(Impossible, match="needs tiles") as refused:
        pack([framed(10, 10), framed(300, 219)], **A4)
    assert (refused.value.code, refused.value.field) == ("larger_than_page", "page")


def test_the_legend_goes_beside_the_pieces() -> None:
    (page,) = pack([framed(60, 60), legend()], **A4)
    assert {each.template.name for each in page.placed} == {"caddy_lid", "legend"}
    assert pack([], **A4) == ()
