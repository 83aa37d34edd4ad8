"""The memory of all workers over 100 000 requests, looked at ten times.

python tests/bench/memory.py [requests, default 100000]

`manage.py serve` with its own number of workers, none renewed meanwhile. Of ten requests seven ask for an f-number, two
for a page of twenty logs, one logs an exposure. A process grows at first, while it meets everything once: the
slope is that of a straight line through the second half.
"""

import sys
from collections.abc import Iterator
from itertools import cycle, islice
from typing import Any

import numpy as np
from crowd import ask, logged, request, site
from figures import Figure, print_table

ASKERS, LOOKS, MOST_MB = 4, 10, 0.1
#: Of fewer requests than these the slope says how fast a process gets warm.
WARM_AFTER = 50_000
COMMAND = "python tests/bench/memory.py"


def mixed(known: dict[str, Any]) -> Iterator[bytes]:
    from tests.bodies import OPTICS  # noqa: PLC0415

    f_number = request("POST", "/api/v1/optics/f-number/", OPTICS["f-number/"])
    page = request("GET", "/api/v1/clubs/saltmarsh/exposures/?page_size=20", token=known["token"])
    for each in cycle([f_number] * 7 + [page] * 2 + [None]):
        yield each or logged(known)


def measure(requests: int = 100_000) -> list[Figure]:
    with site() as (service, known):
        asked, held = mixed(known), []
        ask(service.port, islice(asked, 500), connections=ASKERS)
        faults = []
        for _ in range(LOOKS + 1):
            held.append(sum(service.memory().values()))
            print(f"{held[-1]:.1f} MB after {(len(held) - 1) * requests // LOOKS:,} requests", file=sys.stderr)
            if len(held) <= LOOKS:
                faults += ask(service.port, islice(asked, requests // LOOKS), connections=ASKERS).faults
        workers = len([each for each in service.memory() if each])
    thousands = np.arange(LOOKS // 2 + 1) * requests / LOOKS / 1000
    slope = float(np.polyfit(thousands, held[LOOKS // 2 :], 1)[0])
    for fault in faults[:5]:
        print(fault, file=sys.stderr)
    name = f"memory of {workers} workers over {requests:,} requests"
    long_enough = requests >= WARM_AFTER or bool(faults)
    return [
        Figure(f"{name}: at the end, beside the start", held[-1], "MB", held[0], held[-1] / held[0], command=COMMAND),
        Figure(f"{name}: slope of the second half", slope, "MB a thousand", None, None,
               f"≤ {MOST_MB:g} MB a thousand, no fault", (slope <= MOST_MB and not faults) if long_enough else None,
               COMMAND),
    ]  # fmt: skip


if __name__ == "__main__":
    print_table(measure(*map(int, sys.argv[1:2])))
