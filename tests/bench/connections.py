"""256 kept connections that all ask again and again, beside 8.

python tests/bench/connections.py [seconds for each, default 4]

`manage.py serve` with its own number of workers. They ask for an f-number: with so many who wait, no answer can come
sooner than 256 divided by the throughput, so only what is quick can tell how the waiting itself is kept short. The two
take turns, so that both meet the same other load.
"""

import sys
from statistics import mean

from crowd import again, ask, request, site
from figures import Figure, print_table

FEW, MANY, PASSES = 8, 256, 3
COMMAND = "python tests/bench/connections.py"


def measure(seconds: float = 4.0) -> list[Figure]:
    from tests.bodies import OPTICS  # noqa: PLC0415

    with site() as (service, _):
        asked = request("POST", "/api/v1/optics/f-number/", OPTICS["f-number/"])
        ask(service.port, again(asked), connections=FEW, seconds=1)
        found = {
            count: [ask(service.port, again(asked), connections=count, seconds=seconds / PASSES) for _ in range(1)]
            for count in (FEW, MANY)
        }
        for _ in range(PASSES - 1):
            for count, passes in found.items():
                passes.append(ask(service.port, again(asked), connections=count, seconds=seconds / PASSES))
    few, many = (mean(each.per_second for each in found[count]) for count in (FEW, MANY))
    slowest = max(max(each.took) for each in found[MANY])
    faults = [fault for passes in found.values() for each in passes for fault in each.faults]
    for fault in faults[:5]:
        print(fault, file=sys.stderr)
    name = f"{MANY} kept connections"
    return [
        Figure(f"{name}: throughput, beside {FEW}", many, "/s", few, many / few, "≥ 0.8 × that at 8",
               many >= 0.8 * few and not faults, COMMAND),
        Figure(f"{name}: the slowest answer", slowest, "s", goal="≤ 1 s", met=slowest <= 1, command=COMMAND),
    ]  # fmt: skip


if __name__ == "__main__":
    print_table(measure(*map(float, sys.argv[1:2])))
