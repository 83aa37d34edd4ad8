"""Two hours of several clubs' life in ten minutes, against `manage.py serve`: no fault, no lost log, flat memory, p99.

python tests/bench/mixed.py [minutes, default 10] [visits a second, default 16] [--markdown FILE]

On SQLite in a temporary folder, or on PostgreSQL with DATABASE_URL in a database of its own beside that one.

What two hours are: four clubs hold an afternoon at once, 30 people in each with a phone or a screen before them, and
everybody does something once in a minute and a half. That makes 9 600 visits, some of two to six requests; in ten
minutes they are 16 a second. For the kinds of visit and their shares see KINDS in `mixed_people.py`. They come at
random moments, whether or not the site keeps up, and a time runs from the moment a visit was due. Meanwhile a backup
runs every minute, and each worker is renewed once.
"""

import argparse
import os
import random
import sys
import threading
import time
from functools import partial
from pathlib import Path

import numpy as np
from asked import database, set_up
from figures import Figure, print_table, put
from mixed_people import Line, Record, Unexpected, Visit, visit_of
from mixed_site import EMBED_ORIGIN, Person, Service, fill, repeated, stored

VISITS_A_SECOND, WALKERS, SEED = 16.0, 24, 5
SAMPLE_S, BACKUP_S, WARM_S = 1, 60, 150
#: Of so many seconds the least counts that a worker held: a password that is checked takes 100 MB for a tenth of one.
LEAST_S = 30
#: In less, workers are still meeting everything for the first time.
LONG_S = 600
#: MB a minute at twelve times the pace of life: 240 MB until a worker is renewed, after a day.
MOST_SLOPE = 2.0


class Walk:
    """All visits, and what was heard of them."""

    def __init__(self, minutes: float, rate: float) -> None:
        self.seconds, self.rate, self.record = 60 * minutes, rate, Record()
        self.people = fill()
        self.known = stored()["logs"]
        self.service = Service(Path(os.environ["PINPOOL_DATA"]), max(60, int(0.75 * self.seconds)))
        #: Seconds since the beginning, and MB by worker.
        self.memory: list[tuple[float, dict[int, float]]] = []
        self.backups: list[str] = []
        self.begun = 0.0

    def go(self) -> None:
        self.service.await_ready()
        for keeper in (person for person in self.people if person.keeper):
            self.prepare(keeper)
        self.record.times.clear()
        self.begun = time.monotonic()
        with repeated(SAMPLE_S, self.sample), repeated(BACKUP_S, self.back_up):
            walkers = [threading.Thread(target=self.visits, args=(dues,)) for dues in self.shares()]
            for walker in walkers:
                walker.start()
            for walker in walkers:
                walker.join()
        self.stopping, self.processor = self.service.stop()

    def prepare(self, keeper: Person) -> None:
        """What visits need of a club and only its own endpoints make: a workshop for packs, and who may embed."""
        from tests.bodies import CLUB, EMBED  # noqa: PLC0415  (the settings are ready only now)

        line = Line(self.service.port, self.record)
        visit = Visit("prepare", line, keeper, self.record, random.Random(SEED), time.monotonic())  # noqa: S311
        created = frozenset({201})
        design = visit.json("POST", "designs/", CLUB["designs/"], fine=created)
        body = CLUB["workshops/"] | {"design": design["id"], "paper": keeper.club.papers[0], "places": 12}
        keeper.club.workshop = visit.json("POST", "workshops/", body, fine=created)["number"]
        tag = visit.api("GET", "embed/")[1]["ETag"]
        visit.api("PATCH", "embed/", EMBED | {"origins": [EMBED_ORIGIN]}, **{"If-Match": tag})

    def shares(self) -> list[list[float]]:
        """When each walker's visits are due: a Poisson stream dealt out in turn."""
        gaps = np.random.default_rng(SEED).exponential(1 / self.rate, int(self.rate * self.seconds))
        dues = np.cumsum(gaps).tolist()
        return [dues[first::WALKERS] for first in range(WALKERS)]

    def visits(self, dues: list[float]) -> None:
        line, dice = Line(self.service.port, self.record), random.Random(f"{SEED} {dues[:1]}")  # noqa: S311
        for due in dues:
            time.sleep(max(0.0, self.begun + due - time.monotonic()))
            visit_of(line, self.people, self.record, dice, self.begun + due)

    def sample(self) -> None:
        self.memory.append((time.monotonic() - self.begun, self.service.memory()))

    def back_up(self) -> None:
        self.backups.append(self.service.back_up())

    def slopes(self) -> dict[int, float]:
        """MB a minute of each worker that was there for a while, once it was warm."""
        found = {}
        for worker in {worker for _, held in self.memory for worker in held} - {0}:
            of = np.array([(at, held[worker]) for at, held in self.memory if worker in held])
            of = of[of[:, 0] > of[0, 0] + min(WARM_S, self.seconds / 4)]
            spans = [of[of[:, 0] // LEAST_S == span] for span in np.unique(of[:, 0] // LEAST_S)]
            least = np.array([span[span[:, 1].argmin()] for span in spans])
            if len(least) >= 4:
                found[worker] = float(60 * np.polyfit(least[:, 0], least[:, 1], 1)[0])
        return found


def behind(walk: Walk) -> list[str]:
    """What stands behind the figures: each kind of request, and the memory by minute."""
    lines = [f"{'kind of request':24}{'number':>8}{'p50 ms':>9}{'p99 ms':>9}{'max ms':>9}"]
    for kind, times in sorted(walk.record.times.items()):
        p50, p99, most = 1000 * np.quantile(times, [0.5, 0.99, 1])
        lines.append(f"{kind:24}{len(times):8}{p50:9.0f}{p99:9.0f}{most:9.0f}")
    minutes: dict[int, list[tuple[float, float]]] = {}
    for at, held in walk.memory:
        minutes.setdefault(int(at // 60), []).append((sum(held.values()) - held[0], held[0]))
    means = [np.mean(held, axis=0) for held in minutes.values()]
    slopes = ", ".join(f"{slope:+.2f}" for slope in walk.slopes().values())
    return [
        *lines,
        f"MB of all workers + typesetters, by minute: {', '.join(f'{own:.0f}+{more:.0f}' for own, more in means)}",
        f"MB a minute of each warm worker: {slopes}",
    ]


def figures_of(walk: Walk) -> list[Figure]:
    """The figures; prints the faults."""
    command = f"python tests/bench/mixed.py {walk.seconds / 60:g} {walk.rate:g}"
    record, found = walk.record, stored()
    faults = [*record.faults, *walk.service.faults(), *(said for said in walk.backups if said)]
    for fault in faults[:40]:
        print(f"FAULT {fault}"[:1000])
    lost = [one for one, typed in record.stored.items() if found["logs"].get(one) != typed]
    lost += [one for one in walk.known if one not in found["logs"]]
    times = 1000 * np.array([took for each in record.times.values() for took in each])
    slope = max(walk.slopes().values(), default=float("nan"))
    p50, p99, most = np.quantile(times, [0.5, 0.99, 1])
    long = walk.seconds >= LONG_S
    workers = len({worker for _, held in walk.memory for worker in held}) - 1
    row = partial(Figure, command=command)
    return [
        row("mixed load: requests", times.size),
        row("mixed load: faults", len(faults), goal="none", met=not faults),
        row("mixed load: logs stored", len(record.stored)),
        row("mixed load: stored logs lost or changed", len(lost), goal="none", met=not lost),
        row("mixed load: cells are the log's sums", int(found["cells"]), goal="1: they are", met=found["cells"]),
        row("mixed load: processor time of the service, of one request", 1000 * walk.processor / times.size, "ms"),
        row("mixed load: half of all requests within", p50, "ms"),
        row("mixed load: p99", p99, "ms"),
        row("mixed load: the longest", most, "ms"),
        row("mixed load: steepest growth of a warm worker", slope, "MB/min", goal=f"≤ {MOST_SLOPE:g}" if long else "",
            met=slope <= MOST_SLOPE if long else None),
        row("mixed load: workers there were, renewals with them", workers),
        row("mixed load: requests sent again as a kept connection closed", record.again),
        row("mixed load: backups made meanwhile", sum(not said for said in walk.backups)),
        row("mixed load: graceful stop", walk.stopping, "s"),
    ]  # fmt: skip


def measure(minutes: float = 10.0, rate: float = VISITS_A_SECOND) -> tuple[list[Figure], list[str]]:
    """The figures, and what stands behind them."""
    with database():
        set_up()
        walk = Walk(minutes, rate)
        try:
            walk.go()
        except Unexpected:
            raise SystemExit(f"The clubs could not be prepared: {walk.record.faults}") from None
        finally:
            walk.service.process.kill()
        return figures_of(walk), behind(walk)


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("minutes", nargs="?", type=float, default=10.0)
    parser.add_argument("rate", nargs="?", type=float, default=VISITS_A_SECOND)
    parser.add_argument("--markdown", type=Path, help="puts the table into its place in this document")
    asked = parser.parse_args()
    figures, lines = measure(asked.minutes, asked.rate)
    print("\n".join(lines))
    print_table(figures)
    if asked.markdown:
        name = "mixed on PostgreSQL" if os.environ.get("DATABASE_URL") else "mixed on SQLite"
        put(figures, asked.markdown, name, lines)
    return int(any(figure.met is False for figure in figures))


if __name__ == "__main__":
    sys.exit(main())
