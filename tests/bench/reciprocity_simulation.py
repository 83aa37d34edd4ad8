"""How often the pooled model's intervals hold, on 200 made clubs of three sizes, with and without the guard.

python tests/bench/reciprocity_simulation.py
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.exposures.reciprocity.coverage import measure

SIZES = {
    "18 papers, 700 logs": {},
    "8 papers, 120 logs": {"papers": 8, "families": 2, "cameras": 8, "members": 6, "logs": 120},
    "5 papers, 40 logs": {"papers": 5, "families": 1, "cameras": 5, "members": 4, "logs": 40},
}


def main() -> None:
    sets = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    print(f"{'':36}{'a':>8}{'q':>8}{'time':>8}{'time50':>8}{'a bias/se':>11}{'q bias/se':>11}")
    for name, size in SIZES.items():
        for guarded in (False, True):
            c = measure(sets, guarded=guarded, **size)
            label = name + (", guarded" if guarded else "")
            print(
                f"{label:36}{c.speed:8.1%}{c.slope:8.1%}{c.time:8.1%}{c.time_half:8.1%}{c.speed_bias:11.2f}"
                f"{c.slope_bias:11.2f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
