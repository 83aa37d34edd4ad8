"""Best criteria of the degenerate sets by many plain descents, stored for the tests; some minutes.

python tests/bench/reciprocity_boundary.py
"""

import json
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from exposures.reciprocity.optimiser import optimise
from tests.exposures.reciprocity.boundary import SETS, least, made


def main() -> None:
    objectives = [made(seed) for seed in range(SETS)]
    stored = [least(objective, seed) for seed, objective in enumerate(objectives)]
    above = [optimise(objective).point.criterion - best for objective, best in zip(objectives, stored, strict=True)]
    print(f"{SETS} sets; farthest above the descents {max(above):.2e}, farthest below {min(above):.2e}")
    path = ROOT / "tests" / "exposures" / "reciprocity" / "boundary_criteria.json"
    path.write_text(json.dumps([round(value, 7) for value in stored], indent=1) + "\n")


if __name__ == "__main__":
    main()
