"""How long a cutting plan takes, in units of a plain loop of 100 000 steps measured in the same run.

python tests/bench/sheet_cuts.py
"""

import time
from collections.abc import Callable
from functools import partial

from optics.core.sheet_cuts import NAMED_SHEETS, cut_sheet
from optics.core.sheet_cuts_svg import sheet_cuts_svg

QUESTIONS = {
    "4 strips of 8x10 in": (NAMED_SHEETS["8x10 in"], (63.5, 203.2), 0.0),
    "13 of 50 x 70 from 8x10 in": (NAMED_SHEETS["8x10 in"], (50.0, 70.0), 0.0),
    "32 of 61 x 150 from 20x24 in": (NAMED_SHEETS["20x24 in"], (61.0, 150.0), 0.0),
    "40, hardly off square, kerf": ((68.8, 61.7), (10.0, 10.003), 0.03),
    "480 squares of an inch": (NAMED_SHEETS["20x24 in"], (25.4, 25.4), 0.0),
    "495 of 20 x 31 from 20x24 in": (NAMED_SHEETS["20x24 in"], (20.0, 31.0), 0.0),
    "407 of 5 x 150 from 20x24 in": (NAMED_SHEETS["20x24 in"], (5.0, 150.0), 0.0),
    "hostile: 950 needles": ((950.0, 901.8), (1.0, 899.7), 0.0),
    "hostile: long, thin, off square": ((490.0, 2.0005), (1.0, 1.001), 0.013),
    "hostile: 980 off square": ((99.0, 10.0), (1.0, 1.003), 0.0),
}


def best_of(call: Callable[[], object], rounds: int = 3) -> float:
    seconds = []
    for _ in range(rounds):
        start = time.perf_counter()
        call()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def main() -> None:
    yardstick = best_of(lambda: sum(n * n for n in range(100_000)))
    print(f"{'':34}{'count':>6}{'proven':>8}{'plan ms':>9}{'ratio':>8}{'svg ms':>8}")
    for name, (sheet, piece, kerf_mm) in QUESTIONS.items():
        question = partial(
            cut_sheet,
            sheet_width_mm=sheet[0],
            sheet_height_mm=sheet[1],
            piece_width_mm=piece[0],
            piece_height_mm=piece[1],
            kerf_mm=kerf_mm,
        )
        plan = question()
        seconds, drawing = best_of(question), best_of(partial(sheet_cuts_svg, plan))
        print(
            f"{name:34}{plan.count:6}{plan.optimal!s:>8}{1e3 * seconds:9.1f}{seconds / yardstick:8.2f}"
            f"{1e3 * drawing:8.1f}"
        )


if __name__ == "__main__":
    main()
