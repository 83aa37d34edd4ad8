"""Cutting plans: closed forms, a search that tries everything, a guillotine that carries the plans out."""

import math
from functools import cache

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from optics.core.faults import Impossible
from optics.core.sheet_cuts import MOST_PIECES, NAMED_SHEETS, Part, SheetCuts, cut_sheet
from optics.core.sheet_cuts_search import few_side_sums, side_sums

steady = settings(derandomize=True, deadline=None, max_examples=60)
Box = tuple[float, float, float, float]
TOLERANCE_MM = 0.005  # a shaving of 3 µm is not trimmed


def plan_for(sheet: tuple[float, float], piece: tuple[float, float], kerf_mm: float = 0.0, grain="any") -> SheetCuts:
    return cut_sheet(
        sheet_width_mm=sheet[0],
        sheet_height_mm=sheet[1],
        piece_width_mm=piece[0],
        piece_height_mm=piece[1],
        kerf_mm=kerf_mm,
        grain=grain,
    )


# The outside world


def test_8x10_in_gives_four_strips_of_two_and_a_half_by_eight_without_waste():
    """Common practice, no source."""
    plan = plan_for(NAMED_SHEETS["8x10 in"], (2.5 * 25.4, 8 * 25.4))
    assert (plan.count, len(plan.cuts), plan.offcuts, plan.optimal) == (4, 3, (), True)
    assert plan.waste_share == pytest.approx(0, abs=1e-12)
    assert [cut.text for cut in plan.cuts][:1] == ["Cut 1: right across the sheet, 63.5 mm from its top edge."]
    assert plan.cuts[1].text == (
        "Cut 2: right across the 203.2 × 190.5 mm part that lay 0.0 mm from the left and 63.5 mm from the top of the "
        "sheet, 63.5 mm from the part's top edge."
    )


@pytest.mark.parametrize(("sheet", "piece", "count"), [("8x10 in", "4x5 in", 4), ("16x20 in", "8x10 in", 4)])
def test_inch_sheets_halve_exactly(sheet, piece, count):
    """Common practice, no source: half an inch size each way is the inch size two below."""
    plan = plan_for(NAMED_SHEETS[sheet], NAMED_SHEETS[piece])
    assert (plan.count, plan.offcuts, plan.cuts[-1].step) == (count, (), count - 1)


def test_named_sheets_are_exact_inches_or_whole_millimetres():
    """SCIENCE.md, section 8: inch sizes exact, metric ones of ISO 1008 [memory]."""
    for name, (width_mm, height_mm) in NAMED_SHEETS.items():
        numbers, unit = name.split()
        scale = {"in": 25.4, "cm": 10.0}[unit]
        assert (width_mm, height_mm) == pytest.approx([float(n) * scale for n in numbers.split("x")], abs=1e-9)


@pytest.mark.parametrize("parts", range(2, 25))
def test_a_sheet_divides_into_any_whole_number_of_strips(parts):
    """[derived] Rounding to micrometres never costs a strip: 10/3 in goes three times into 10 in."""
    plan = plan_for((203.2, 254.0), (203.2, 254.0 / parts), grain="along_width")
    assert (plan.count, len(plan.cuts)) == (parts, parts - 1)


@pytest.mark.parametrize(("across", "down"), [(7, 7), (3, 4), (9, 11), (13, 6)])
def test_a_sheet_divides_both_ways_without_shavings(across, down):
    """[derived] Five sevenths of 8 in are four sevenths of 10 in: rounding must not leave a shaving between."""
    plan = plan_for(NAMED_SHEETS["8x10 in"], (203.2 / across, 254.0 / down))
    assert (plan.count, len(plan.cuts), plan.offcuts) == (across * down, across * down - 1, ())
    assert plan.waste_share == pytest.approx(0, abs=1e-12)


@given(
    width=st.integers(1, 400),
    height=st.integers(1, 400),
    w=st.integers(15, 90),
    h=st.integers(15, 90),
    kerf=st.integers(0, 5),
    upright=st.booleans(),
)
@steady
def test_with_the_grain_given_the_best_plan_is_rows_and_columns(*, width, height, w, h, kerf, upright):
    """[derived] Count floor((W+k)/(w+k)) · floor((H+k)/(h+k)); a cut fewer than parts, off-cuts among them."""
    across, down = (w, h) if upright else (h, w)
    columns, rows = (width + kerf) // (across + kerf), (height + kerf) // (down + kerf)
    assume(columns * rows)
    plan = plan_for((width, height), (w, h), kerf, "along_width" if upright else "along_height")
    trims = (width != columns * (across + kerf) - kerf) + (height != rows * (down + kerf) - kerf)
    assert plan.count == columns * rows
    assert plan.optimal
    assert len(plan.cuts) == plan.count - 1 + trims
    assert all((p.width_mm, p.height_mm, p.turned) == (across, down, not upright) for p in plan.pieces)


@given(st.integers(30, 300), st.integers(30, 300), st.integers(10, 60))
@steady
def test_squares_are_best_in_rows_and_columns(width, height, side):
    """[derived] However squares are pushed together, a line across the sheet meets floor(W/side) at most."""
    assume(width >= side <= height)
    plan = plan_for((width, height), (side, side))
    assert (plan.count, plan.optimal) == ((width // side) * (height // side), True)


# A search that tries every cut at every whole number


def best_of_all_cut_trees(sheet: tuple[int, int], shapes: set[tuple[int, int]], kerf: int) -> tuple[int, int, int]:
    """(most pieces, −fewest cuts, largest off-cut) of all guillotine layouts with cuts at whole numbers."""

    @cache
    def best(width: int, height: int) -> tuple[int, int, int]:
        if width <= 0 or height <= 0:
            return 0, 0, 0
        ends = [(0, 0, width * height)]
        if (width, height) in shapes:
            ends.append((1, 0, 0))
        halves = [(best(at, height), best(width - at - kerf, height)) for at in range(1, width)]
        halves += [(best(width, at), best(width, height - at - kerf)) for at in range(1, height)]
        ends += [(a[0] + b[0], a[1] + b[1] - 1, max(a[2], b[2])) for a, b in halves]
        return max(ends)

    return best(*sheet)


def assert_best(sheet: tuple[int, int], piece: tuple[int, int], kerf: int = 0, grain="any") -> int:
    turned = piece[1], piece[0]
    shapes = {"any": {piece, turned}, "along_width": {piece}, "along_height": {turned}}[grain]
    expected = best_of_all_cut_trees(sheet, shapes, kerf)
    if expected[0] == 0:
        with pytest.raises(Impossible, match="piece"):
            plan_for(sheet, piece, kerf, grain)
        return 0
    plan = plan_for(sheet, piece, kerf, grain)
    largest = max((part.width_mm * part.height_mm for part in plan.offcuts), default=0)
    assert plan.optimal
    assert (plan.count, -len(plan.cuts), round(largest)) == expected, (sheet, piece, kerf, grain)
    return plan.count


@pytest.mark.parametrize("seed", range(6))
def test_no_cut_tree_does_better(seed):
    """Count, number of cuts and largest off-cut, against an exhaustive search, mixed layouts and kerf included."""
    chance = np.random.default_rng(seed)
    for _ in range(50):
        width, height, w, h = chance.integers((2, 2, 1, 1), (23, 23, 9, 9)).tolist()
        kerf = (0, 0, 1, 2)[chance.integers(4)]
        grain = ("any", "any", "any", "any", "along_width", "along_height")[chance.integers(6)]
        assert_best((width, height), (w, h), kerf, grain)


@pytest.mark.parametrize("sheet", [(14, 10), (10, 14)])
def test_one_trim_serves_rows_that_lie_differently(sheet):
    """Three pieces upright over two lying, 12 by 10 in all: trimmed once, not row by row."""
    assert assert_best(sheet, (4, 6)) == 5


@pytest.mark.parametrize(
    ("sheet", "piece", "kerf", "one_way", "mixed"),
    [
        ((5, 3), (2, 1), 0, 6, 7),
        ((7, 5), (3, 2), 0, 4, 5),
        ((17, 13), (5, 3), 0, 12, 14),
        ((22, 16), (5, 3), 0, 21, 22),
        ((22, 21), (5, 3), 1, 15, 19),
    ],
)
def test_mixed_layouts_beat_pieces_that_all_lie_one_way(sheet, piece, kerf, one_way, mixed):
    """[derived] Every count by exhaustive search."""
    ways = [plan_for(sheet, piece, kerf, grain).count for grain in ("along_width", "along_height")]
    assert (max(ways), assert_best(sheet, piece, kerf)) == (one_way, mixed)


# A guillotine that carries the plan out


def carry_out(plan: SheetCuts) -> None:
    """Make every cut in order, each right across a loose part, and check that pieces and off-cuts remain."""
    loose = [(0.0, 0.0, plan.sheet_width_mm, plan.sheet_height_mm)]

    def take(part: Part) -> Box:
        wanted = (part.x_mm, part.y_mm, part.width_mm, part.height_mm)
        found = next(box for box in reversed(loose) if math.dist(box, wanted) < TOLERANCE_MM)
        loose.remove(found)
        return found

    for step, cut in enumerate(plan.cuts, 1):
        x, y, width, height = take(cut.part)
        if cut.x1_mm == cut.x2_mm:
            edge, at, length = "left", cut.x1_mm - x, width
            halves = (x, y, at, height), (x + at + plan.kerf_mm, y, width - at - plan.kerf_mm, height)
            assert (cut.y1_mm, cut.y2_mm) == pytest.approx((y, y + height), abs=TOLERANCE_MM)
        else:
            edge, at, length = "top", cut.y1_mm - y, height
            halves = (x, y, width, at), (x, y + at + plan.kerf_mm, width, height - at - plan.kerf_mm)
            assert (cut.x1_mm, cut.x2_mm) == pytest.approx((x, x + width), abs=TOLERANCE_MM)
            assert cut.y1_mm == cut.y2_mm
        assert 0 < at < length - 1e-6
        assert cut.step == step
        assert cut.text.startswith(f"Cut {step}: right across the ")
        assert float(cut.text.split(", ")[-1].split()[0]) == pytest.approx(at, abs=0.051)
        assert cut.text.endswith(f"{edge} edge.")
        loose += [half for half in halves if min(half[2:]) > 1e-6]
    for part in plan.pieces + plan.offcuts:
        take(part)
    assert not loose


def assert_sound(plan: SheetCuts, piece: tuple[float, float]) -> None:
    carry_out(plan)
    area = plan.sheet_width_mm * plan.sheet_height_mm
    assert plan.count == len(plan.pieces) <= area / math.prod(piece) + 1e-6
    assert plan.waste_share == pytest.approx(1 - plan.count * math.prod(piece) / area, abs=1e-12)
    assert 0 <= plan.waste_share < 1
    for one in plan.pieces:
        laid = (one.height_mm, one.width_mm) if one.turned else (one.width_mm, one.height_mm)
        assert laid == pytest.approx(piece, abs=0.0011)
        assert one.x_mm >= 0 <= one.y_mm
        assert one.x_mm + one.width_mm <= plan.sheet_width_mm + 0.001
        assert one.y_mm + one.height_mm <= plan.sheet_height_mm + 0.001
    for n, one in enumerate(plan.pieces):
        for other in plan.pieces[:n]:
            gap = max(
                abs(2 * one.x_mm + one.width_mm - 2 * other.x_mm - other.width_mm) / 2
                - (one.width_mm + other.width_mm) / 2,
                abs(2 * one.y_mm + one.height_mm - 2 * other.y_mm - other.height_mm) / 2
                - (one.height_mm + other.height_mm) / 2,
            )
            assert gap >= plan.kerf_mm - 0.0011


lengths_mm = st.floats(20, 320, allow_nan=False)
sides_mm = st.floats(12, 160, allow_nan=False)
kerfs_mm = st.sampled_from([0.0, 0.0, 0.8, 3.2])


@given(
    width=lengths_mm,
    height=lengths_mm,
    w=sides_mm,
    h=sides_mm,
    kerf=kerfs_mm,
    grain=st.sampled_from(["any", "along_width", "along_height"]),
)
@example(width=203.2, height=254.0, w=25.4, h=50.8, kerf=0.0, grain="any")
@example(width=203.2, height=254.0, w=203.2 / 7, h=254.0 / 7, kerf=0.0, grain="any")
@steady
def test_the_cuts_in_order_free_every_piece(*, width, height, w, h, kerf, grain):
    try:
        plan = plan_for((width, height), (w, h), kerf, grain)
    except Impossible as fault:
        assert fault.code == "piece_larger_than_sheet"  # noqa: PT017
        return
    assert_sound(plan, (w, h))
    assert plan == plan_for((width, height), (w, h), kerf, grain)


tenths = st.integers(300, 2500).map(lambda n: n / 10)
small_tenths = st.integers(150, 1200).map(lambda n: n / 10)


def count_or_none(sheet: tuple[float, float], piece: tuple[float, float], kerf_mm: float = 0.0) -> int:
    try:
        return plan_for(sheet, piece, kerf_mm).count
    except Impossible:
        return 0


@given(
    width=tenths,
    height=tenths,
    w=small_tenths,
    h=small_tenths,
    kerf=kerfs_mm,
    more=st.floats(0, 40),
    scale=st.sampled_from([0.5, 2.0, 5.0, 25.4 / 10]),
)
@steady
def test_turning_growing_and_scaling(*, width, height, w, h, kerf, more, scale):
    count = count_or_none((width, height), (w, h), kerf)
    assert count_or_none((height, width), (w, h), kerf) == count
    assert count_or_none((width, height), (h, w), kerf) == count
    assert count_or_none((width + more, height), (w, h), kerf) >= count
    scaled = (scale * length for length in (width, height, w, h, kerf))
    assert count_or_none((next(scaled), next(scaled)), (next(scaled), next(scaled)), next(scaled)) == count


# Many pieces


def random_questions(seed: int, number: int, pieces: tuple[int, int]):
    chance = np.random.default_rng(seed)
    for n in range(number):
        w = chance.uniform(10, 40)
        piece = w, w * (1.001, chance.uniform(1, 1.3), chance.uniform(1, 4))[n % 3]
        area, shape = chance.integers(*pieces) * math.prod(piece), chance.uniform(1, 3)
        yield (math.sqrt(area * shape), math.sqrt(area / shape)), piece, (0.0, 1.3)[n % 2]


def test_short_cuts_of_the_search_still_find_the_best_count(monkeypatch):
    """The few side sums used for very many pieces, and a tie broken early, against the full search."""
    for sheet, piece, kerf in random_questions(1, 25, (10, 150)):
        full = plan_for(sheet, piece, kerf)
        assert full.optimal
        with monkeypatch.context() as patch:
            patch.setattr("optics.core.sheet_cuts_search._MOST_WEIGHED", 0)
            hasty = plan_for(sheet, piece, kerf)
            assert (hasty.count, len(hasty.cuts)) == (full.count, len(full.cuts))
            patch.setattr("optics.core.sheet_cuts_search._MOST_SUMS", 0)
            rough = plan_for(sheet, piece, kerf)
        assert rough.count == full.count
        assert_sound(rough, piece)


@pytest.mark.parametrize("most", [1, 3, 1000])
def test_few_side_sums_are_side_sums_and_reach_as_far(most):
    """The farthest sum bounds the count, and so decides whether a plan counts as proven."""
    few, every = few_side_sums(1009, [17, 23], most), side_sums(1009, [17, 23])
    assert set(few) <= set(every)
    assert (few[0], few[-1]) == (0, every[-1])


def test_hundreds_of_pieces_beat_rows_and_columns_and_stay_within_the_area():
    for sheet, piece, kerf in random_questions(2, 12, (400, 990)):
        plan = plan_for(sheet, piece, kerf)
        carry_out(plan)
        one_way = max(plan_for(sheet, piece, kerf, grain).count for grain in ("along_width", "along_height"))
        room = math.prod(side + kerf for side in sheet) / math.prod(side + kerf for side in piece)
        assert one_way <= plan.count <= room
        assert plan.count > 0.97 * room or piece[1] < 1.3 * piece[0]
        assert plan.optimal == (not plan.flags)


def test_a_count_that_is_not_proven_says_so():
    plan = plan_for(NAMED_SHEETS["20x24 in"], (17.3, 21.7))
    assert not plan.optimal
    (flag,) = plan.flags
    assert flag.code == "not_proven_best"
    assert f"{plan.count} pieces" in flag.text


@pytest.mark.parametrize("piece", [(1, 1.001), (1, 1), (2.003, 5.01), (1.3, 900)])
def test_long_thin_sheets(piece):
    carry_out(plan_for((950, 1.002 * piece[1]), piece))


# Faults


@pytest.mark.parametrize(
    ("change", "code", "field"),
    [
        ({"piece_width_mm": 300.0}, "piece_larger_than_sheet", "piece"),
        (
            {"piece_width_mm": 250.0, "piece_height_mm": 200.0, "grain": "along_width"},
            "piece_larger_than_sheet",
            "piece",
        ),
        ({"piece_width_mm": 1.0, "piece_height_mm": 1.0}, "too_many_pieces", "piece"),
        ({"sheet_width_mm": 0.0}, "not_positive", "sheet.width"),
        ({"sheet_height_mm": math.nan}, "not_positive", "sheet.height"),
        ({"piece_width_mm": -1.0}, "not_positive", "piece.width"),
        ({"piece_height_mm": math.inf}, "too_large", "piece.height"),
        ({"sheet_width_mm": 2501.0}, "too_large", "sheet.width"),
        ({"piece_height_mm": 1e-9}, "piece_too_small", "piece.height"),
        ({"kerf_mm": -0.1}, "negative", "kerf"),
        ({"kerf_mm": math.inf}, "too_large", "kerf"),
        ({"grain": "across"}, "unknown_grain", "grain"),
    ],
)
def test_what_cannot_be_cut_is_refused(change, code, field):
    question = {"sheet_width_mm": 203.2, "sheet_height_mm": 254.0, "piece_width_mm": 60.0, "piece_height_mm": 80.0}
    with pytest.raises(Impossible) as caught:
        cut_sheet(**question | change)
    assert (caught.value.code, caught.value.field) == (code, field)
    assert str(caught.value).endswith(".")


def test_across_the_grain_only_says_so():
    with pytest.raises(Impossible, match="only across the grain"):
        plan_for((100, 200), (150, 50), grain="along_width")


def test_the_most_pieces_are_still_planned():
    assert plan_for((MOST_PIECES, 1), (1, 1)).count == MOST_PIECES


def test_a_trim_thinner_than_the_blade_leaves_no_off_cut():
    plan = plan_for((101, 50), (50, 50), 0.8)
    assert (plan.count, len(plan.cuts), plan.offcuts) == (2, 2, ())
    carry_out(plan)
