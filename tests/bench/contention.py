"""Eight who log at once, each request read and then written in one transaction: no lock error, and none lost.

python tests/bench/contention.py [requests, default 5000]

`manage.py serve` with its own number of workers, on SQLite or, with DATABASE_URL, on PostgreSQL. Afterwards the logs,
the sums in the evidence cells and the trail are counted: each must have grown by every request. Beside it stands the
throughput of one who logs alone, in the same run.
"""

import sys

from crowd import ask, logged, site, stored
from figures import Figure, print_table

WRITERS, ALONE = 8, 500
COMMAND = "python tests/bench/contention.py"


def measure(requests: int = 5000) -> list[Figure]:
    with site() as (service, known):
        alone = ask(service.port, (logged(known) for _ in range(min(ALONE, requests))), connections=1)
        before = stored()
        found = ask(service.port, (logged(known) for _ in range(requests)), connections=WRITERS)
        grown = {name: count - before[name] for name, count in stored().items()}
        faults = [*alone.faults, *found.faults, *service.faults()]
    for fault in faults[:5]:
        print(fault, file=sys.stderr)
    lost = max(abs(requests - count) for count in grown.values())
    slowest = sorted(found.took)[int(0.99 * len(found.took))]
    name = f"{requests:,} logs by {WRITERS} who write at once"
    return [
        Figure(f"{name}: refused", len(faults), "", goal="none", met=not faults, command=COMMAND),
        Figure(f"{name}: lost, of logs, cells or trail", lost, "", goal="none", met=lost == 0, command=COMMAND),
        Figure(f"{name}: throughput, beside one alone", found.per_second, "/s", alone.per_second,
               found.per_second / alone.per_second, command=COMMAND),
        Figure(f"{name}: 99 of 100 within", 1000 * slowest, "ms", command=COMMAND),
    ]  # fmt: skip


if __name__ == "__main__":
    print_table(measure(*map(int, sys.argv[1:2])))
