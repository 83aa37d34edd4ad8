"""How long the fuzz tests try: shortly and always the same; with `PINPOOL_FUZZ=deep` long and at random.

A deep run prints its seed, and `PINPOOL_FUZZ_SEED` gives it again.
"""

import os
import secrets

from hypothesis import HealthCheck, Phase, core, settings

DEEP = os.environ.get("PINPOOL_FUZZ") == "deep"
if DEEP:  # in the environment, so that every process of a run has the same
    SEED = os.environ.setdefault("PINPOOL_FUZZ_SEED", str(secrets.randbelow(2**32)))
    core.global_force_seed = int(SEED)


def tries(few: int, many: int, **more: int) -> settings:
    """Settings for `few` examples, or in a deep run for `many`; `more` goes to hypothesis."""
    return settings(
        max_examples=many if DEEP else few,
        derandomize=not DEEP,
        deadline=None,
        suppress_health_check=list(HealthCheck),
        print_blob=DEEP,
        phases=[phase for phase in Phase if phase is not Phase.explain],  # it takes longer than all others
        **more,
    )
