"""The cells kept in step with the log: what they hold is what the log says, summed."""

import importlib
from typing import Any

import numpy as np
import pytest
from django.apps import apps

from exposures.evidence import KEYS, keep, rebuild, summed
from exposures.models import EvidenceCell, ExposureLog, Pool
from exposures.reciprocity.cells import Cells, Logs
from tests.factories import CameraSpecFactory, ExposureLogFactory, MembershipFactory, PaperFactory

SUMS = ("logs", "x", "xx", "y", "xy", "yy", "shortest_stops", "longest_stops")


@pytest.fixture
def many(here: Any) -> Any:
    """A hundred logs of two papers, three cameras and three members, some shorter than 1 s, told in two ways."""
    rng = np.random.default_rng(3)
    papers = [here.paper, PaperFactory.create(club=here.club, nominal_exposure_index=25)]
    specs = [here.spec, *(CameraSpecFactory.create(camera__club=here.club) for _ in range(2))]
    members = [MembershipFactory.create(club=here.club).user for _ in range(3)]
    for _ in range(100):
        right = float(rng.uniform(0.2, 900)) if rng.random() < 0.3 else None
        ExposureLogFactory.create(
            spec=specs[rng.integers(3)],
            paper=papers[rng.integers(2)],
            member=members[rng.integers(3)],
            shared=bool(rng.integers(2)),
            exposure_time_s=float(rng.uniform(0.2, 900)),
            indicated_time_s=float(rng.uniform(0.2, 90)),
            result_stops=None if right else float(rng.normal()),
            right_time_s=right,
        )
    return here


def table(rows: Any) -> dict[tuple[Any, ...], list[float]]:
    names = [name for name in KEYS if name != "shared"]
    return {(*(row[name] for name in names), row.get("shared")): [row[name] for name in SUMS] for row in rows}


def test_the_cells_are_the_logs_summed_by_the_database(many: Any) -> None:
    kept = table(EvidenceCell.objects.values())
    fresh = table(summed(ExposureLog.objects.all()))
    assert len(kept) > 20
    assert kept.keys() == fresh.keys()
    for key, sums in kept.items():
        assert sums == pytest.approx(fresh[key], rel=1e-12, abs=1e-12)


def test_and_by_numpy(many: Any) -> None:
    logs = list(ExposureLog.objects.order_by("number"))
    code = {"paper": "paper_id", "camera": "spec_id", "member": "member_id", "grade": "grade"}
    keys = {name: np.array([str(getattr(log, field)) for log in logs]) for name, field in code.items()}
    u, z = (np.array([getattr(log, name) for log in logs]) for name in ("time_stops", "effect_stops"))
    expected = {row[:4]: row[4:] for row in Cells.from_logs(Logs(**keys, u=u, z=z)).rows()}
    joined: dict[tuple[str, ...], list[float]] = {}
    for cell in EvidenceCell.objects.all():
        key = tuple(str(getattr(cell, field)) for field in code.values())
        sums = [cell.logs, cell.logs, cell.x, cell.xx, cell.y, cell.xy, cell.yy]
        joined[key] = [a + b for a, b in zip(joined.get(key, [0.0] * 7), sums, strict=True)]
    assert joined.keys() == expected.keys()
    for key, sums in joined.items():
        assert sums == pytest.approx(expected[key][:7], rel=1e-12, abs=1e-12)


def test_rebuilding_changes_nothing_but_the_stamp(many: Any) -> None:
    before, stamp = table(EvidenceCell.objects.values()), Pool.objects.get(club=many.club).stamp
    EvidenceCell.objects.filter(pk__in=EvidenceCell.objects.values("pk")[:5]).update(logs=77, xy=-3.0)
    rebuild(many.club)
    after = table(EvidenceCell.objects.values())
    assert before.keys() == after.keys()
    assert all(sums == pytest.approx(before[key], rel=1e-12, abs=1e-12) for key, sums in after.items())
    assert Pool.objects.get(club=many.club).stamp != stamp


def test_keeping_a_log_costs_the_same_however_many_there_are(many: Any, django_assert_num_queries: Any) -> None:
    log = ExposureLog.objects.first()
    with django_assert_num_queries(2):  # the cell, and the stamp
        keep(log)


def test_what_was_stored_before_there_were_cells_is_filled_in(many: Any) -> None:
    """The migration's own words, run over rows without what it adds."""
    kept = table(EvidenceCell.objects.values())
    evidence = list(ExposureLog.objects.order_by("number").values_list("grade", "time_stops", "effect_stops"))
    ExposureLog.objects.update(grade="", time_stops=None, effect_stops=None)
    EvidenceCell.objects.all().delete()
    Pool.objects.all().delete()
    type(many.paper).objects.update(catalogue_key="")
    importlib.import_module("exposures.migrations.0003_fill_evidence").fill(apps, None)
    assert list(ExposureLog.objects.order_by("number").values_list("grade", "time_stops", "effect_stops")) == [
        (grade, pytest.approx(time), pytest.approx(effect)) for grade, time, effect in evidence
    ]
    filled = table(EvidenceCell.objects.values())
    assert filled.keys() == kept.keys()
    assert all(sums == pytest.approx(kept[key], rel=1e-12, abs=1e-12) for key, sums in filled.items())
    many.paper.refresh_from_db()
    assert many.paper.catalogue_key == "glasswort|graded paper"
    assert Pool.objects.filter(club=many.club).exists()


def test_a_member_who_leaves_takes_no_evidence_along(many: Any) -> None:
    before = sum(EvidenceCell.objects.values_list("logs", flat=True))
    ExposureLog.objects.first().member.delete()
    assert sum(EvidenceCell.objects.values_list("logs", flat=True)) == before
    assert many.client.get(many.at + "reciprocity/model/").json()["evidence"]["logs"] == before
