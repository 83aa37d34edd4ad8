"""The club's pooled fit, fresh whenever it is asked for.

A fit is stored with the fingerprint of the data it rests on. As long as the fingerprint holds, the stored variances are
put back to work without a search; once it does not, the fit is made anew, starting from the last. Nothing older than
the data is ever answered with.
"""

from collections import OrderedDict
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from django.db import IntegrityError, connection, transaction

from clubs.models import Club
from exposures.catalogue import family_of
from exposures.models import Doubt, ExposureLog, Paper, StoredFit
from exposures.reciprocity.cells import NO_CELLS, Cells, Floats, Logs
from exposures.reciprocity.lines import Line
from exposures.reciprocity.result import Fit, PaperAnswer, fit, restored
from exposures.reciprocity.robust import DOUBTFUL, doubt, hold, robust_fit
from exposures.scopes import Scope, less_doubted
from optics.core.faults import Flag, Impossible

#: Up to so many logs, every new fit weighs all of them; beyond, only the new ones, until they are a share of all.
ALL_WEIGHED_TO = 20_000
WEIGHED_AGAIN_SHARE = 0.05
#: Fits kept in this process, by fingerprint.
KEPT = 8
#: So many rows go into one statement.
BATCH = 500

_kept: OrderedDict[str, "Pooled"] = OrderedDict()


@dataclass(frozen=True)
class Pooled:
    """A fit and the scope it rests on."""

    scope: Scope
    fit: Fit

    def key(self, paper: Paper) -> str:
        """What the fit calls a paper."""
        return self.scope.root(paper.catalogue_key)

    def asked(self, paper: Paper) -> dict[str, Any]:
        """How to ask the fit for a paper: its key, its family, and its nominal index over the one reckoned with."""
        known = self.scope.papers.get(self.key(paper))
        stops = np.log2(paper.nominal_exposure_index / known.nominal_exposure_index) if known else 0.0
        return {"paper": self.key(paper), "family": family_of(self.key(paper)), "index_stops": float(stops)}

    def line(self, paper: Paper, **who: Any) -> Line:
        asked = self.asked(paper)
        return self.fit.line(asked.pop("paper"), **asked, **who)

    def answer(self, paper: Paper) -> PaperAnswer:
        asked = self.asked(paper)
        return self.fit.paper(asked.pop("paper"), **asked)


def pooled(club: Club) -> Pooled:
    """The fit of all that counts for a club now."""
    scope = Scope(club)
    found = _kept.get(scope.fingerprint)
    if found is None:
        found = _kept[scope.fingerprint] = Pooled(scope, _fit_of(scope))
        while len(_kept) > KEPT:
            _kept.popitem(last=False)
    return found


def _fit_of(scope: Scope) -> Fit:
    stored = StoredFit.objects.filter(club=scope.club).first()
    if stored is not None and stored.fingerprint == scope.fingerprint:
        try:
            _, logs, weights = scope.doubted()
            return restored(less_doubted(scope.cells(), logs, weights), stored.state, families=scope.families)
        except Impossible:  # stored by another version of the model
            pass
    try:
        return _few_more(scope, stored) or _all_anew(scope, stored)
    except np.linalg.LinAlgError:
        text = "The equations of the pooled model have no solution for these logs, so nothing is pooled."
        return replace(fit(NO_CELLS), flags=(Flag("unsolvable", text),))


def _few_more(scope: Scope, stored: StoredFit | None) -> Fit | None:
    """The last fit carried on by the logs that came since; None where all logs should be weighed again."""
    if stored is None or stored.state is None or stored.logs <= ALL_WEIGHED_TO:
        return None
    cells = scope.cells()
    count = _count(cells)
    chunks = list(scope.logs(after=stored.last_number))
    more = sum(len(logs) for _, logs in chunks)
    if count - stored.logs != more or count - stored.guarded_logs > WEIGHED_AGAIN_SHARE * count:
        return None
    warm = np.array(stored.state["theta"])
    _, doubted, less = scope.doubted()
    cells = less_doubted(cells, doubted, less)
    found = fit(cells, families=scope.families, warm=warm)
    new = [(numbers, logs, hold(found, logs).weights) for numbers, logs in chunks]
    for _, logs, w in new:
        cells = less_doubted(cells, logs.where(w < 1), w[w < 1])
    doubtful = sum(int((w < DOUBTFUL).sum()) for w in (less, *(w for *_, w in new)))
    found = fit(cells, families=scope.families, warm=warm, doubtful_logs=doubtful)
    last = max([stored.last_number, *(int(numbers[-1]) for numbers, _ in chunks)])
    _store(scope, found, new, logs=count, last_number=last, guarded_logs=stored.guarded_logs, keep_doubts=True)
    return found


def _all_anew(scope: Scope, stored: StoredFit | None) -> Fit:
    """Every log weighed against the fit of all, and the fit made of them."""
    chunks = list(scope.logs())
    packed = scope.packed_cells()
    warm = np.array(stored.state["theta"]) if stored is not None and stored.state else None
    found = robust_fit([logs for _, logs in chunks], also=packed, families=scope.families, warm=warm)
    weighed = [(numbers, logs, w) for (numbers, logs), w in zip(chunks, found.weights, strict=True)]
    single = sum(len(logs) for _, logs in chunks)
    count = single + _count(packed)
    last = max((int(numbers[-1]) for numbers, _ in chunks), default=0)
    _store(scope, found.fit, weighed, logs=count, last_number=last, guarded_logs=count, keep_doubts=False)
    return found.fit


def _count(cells: Cells) -> int:
    return round(float(cells.logs.sum()))


def _store(
    scope: Scope, found: Fit, weighed: list[tuple[np.ndarray, Logs, Floats]], *, keep_doubts: bool, **counts: int
) -> None:
    """Keep the fit, and which logs it doubts, for the next request or the next process."""
    doubts = []
    for numbers, logs, weights in weighed:
        less = np.flatnonzero(weights < 1)
        if not len(less):
            continue
        some, w = logs.where(less), weights[less]
        off, flags = hold(found, some, w).off_stops, doubt(found, some, w)
        for number, weight, stops, flag in zip(numbers[less], w, off, flags, strict=True):
            text = flag.text if flag is not None and weight < DOUBTFUL else ""
            doubts.append(Doubt(club=scope.club, log_id=int(number), weight_share=weight, off_stops=stops, text=text))
    try:
        with transaction.atomic():
            StoredFit.objects.update_or_create(
                club=scope.club, defaults={"fingerprint": scope.fingerprint, "state": found.state(), **counts}
            )
            if not keep_doubts:
                Doubt.objects.filter(club=scope.club).delete()
            there = _there([each.log_id for each in doubts])
            Doubt.objects.bulk_create(
                [each for each in doubts if each.log_id in there], batch_size=BATCH, ignore_conflicts=True
            )
            if connection.vendor == "postgresql":  # another may take a log away even now: it shall be seen here
                connection.check_constraints()
    except IntegrityError:
        return  # the fit is of what was there before, and nobody will ask for it


def _there(numbers: list[int]) -> set[int]:
    """Which of these logs are there still: an import can be undone while its logs are weighed."""
    return {
        number
        for start in range(0, len(numbers), BATCH)
        for number in ExposureLog.objects.filter(pk__in=numbers[start : start + BATCH]).values_list("pk", flat=True)
    }
