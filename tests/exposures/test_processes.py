"""How a print was developed: read, kept canonically and as written, shown; and texts of before brought along."""

from typing import Any

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from exposures.models import ExposureLog
from exposures.processes import told_again
from tests.bodies import CLUB
from tests.factories import CameraSpecFactory, ExposureLogFactory, PaperFactory
from tests.problems import faults_in, problem_of

PROCESS: dict[str, Any] = CLUB["exposures/"]["process"]
NOTHING = dict.fromkeys(("developer", "dilution", "temperature", "time", "agitation", "volume", "method", "note"))


def test_a_process_in_full(here: Any) -> None:
    entry = here.log(process=PROCESS)
    words = {key: PROCESS[key] for key in ("developer", "dilution", "agitation", "method", "note")}
    assert entry["process"] == words | {
        "temperature": {"value": 20.0, "unit": "degC"},
        "time": {"value": 120.0, "unit": "s", "text": "2 min"},
        "volume": {"value": 500.0, "unit": "ml"},
        "typed": {"temperature": "68 °F", "time": "2 min", "volume": "0.5 l"},
    }
    kept = ExposureLog.objects.get().process
    assert kept == words | {
        "temperature_c": 20.0, "time_s": 120.0, "volume_ml": 500.0, "typed": entry["process"]["typed"],
    }  # fmt: skip
    assert told_again(kept) == PROCESS
    assert here.log(200, id=entry["id"], process=PROCESS) == entry


@pytest.mark.parametrize("told", ["tray, 2 min", {"note": "tray, 2 min"}, " tray, 2 min\n"])
def test_a_text_is_a_note(here: Any, told: Any) -> None:
    entry = here.log(process=told)
    assert entry["process"] == NOTHING | {"note": "tray, 2 min", "typed": {}}
    assert here.log(200, id=entry["id"], process={"note": "tray, 2 min"}) == entry
    problem_of(here.client.post(here.at + "exposures/", here.body(id=entry["id"], process="tray, 3 min")), 409)


@pytest.mark.parametrize("told", [None, "", "  ", {}, {"note": ""}])
def test_nothing_told_is_nothing_kept(here: Any, told: Any) -> None:
    assert here.log(process=told)["process"] is None
    assert ExposureLog.objects.get().process is None
    assert told_again(None) is None


def test_the_same_told_otherwise_is_another_entry(here: Any) -> None:
    entry = here.log(process={"temperature": "68 °F"})
    for other in ({"temperature": "20 °C"}, {"temperature": "68 °F", "method": "tray"}, None):
        problem_of(here.client.post(here.at + "exposures/", here.body(id=entry["id"], process=other)), 409)


@pytest.mark.parametrize(
    ("process", "fault"),
    [
        ({"temperature": 20}, ("/process/temperature", "unit_missing")),
        ({"temperature": "20"}, ("/process/temperature", "unit_missing")),
        ({"temperature": "500 °C"}, ("/process/temperature", "out_of_range")),
        ({"temperature": "20 ml"}, ("/process/temperature", "unit_wrong_kind")),
        ({"volume": "8 fl oz"}, ("/process/volume", "unit_unknown")),
        ({"volume": "0 ml"}, ("/process/volume", "out_of_range")),
        ({"time": "0 s"}, ("/process/time", "out_of_range")),
        ({"method": "stand"}, ("/process/method", "invalid_choice")),
        ({"method": ["tray"]}, ("/process/method", "invalid_choice")),
        ({"developer": ""}, ("/process/developer", "blank")),
        ({"developer": "a" * 101}, ("/process/developer", "max_length")),
        ({"stop_bath": "1 min"}, ("/process/stop_bath", "unknown_key")),
        ("a" * 2001, ("/process", "max_length")),
        ("bell\x07", ("/process", "control_character")),
        (["tray"], ("/process", "invalid")),
        (5, ("/process", "invalid")),
    ],
    ids=lambda value: str(value)[:40],
)
def test_processes_that_are_none(here: Any, process: Any, fault: Any) -> None:
    assert faults_in(here.client.post(here.at + "exposures/", here.body(process=process))) == {fault}


def test_script_is_text(here: Any) -> None:
    text = "<img src=x onerror=alert(1)>"
    assert here.log(process={"developer": text, "note": text})["process"]["developer"] == text


@pytest.mark.django_db(transaction=True)
def test_texts_of_before_become_notes_and_back() -> None:
    """From the text column to the object and back, on rows that were there before."""
    paths = {"before": "0004_stock_and_imports", "now": "0006_process_is_an_object"}
    targets = {when: [("pinpool_exposures", name)] for when, name in paths.items()}
    latest = [key for key in MigrationExecutor(connection).loader.graph.leaf_nodes() if key[0] == "pinpool_exposures"]
    spec = CameraSpecFactory.create()
    paper = PaperFactory.create(club=spec.camera.club)
    told = {"developer": "Bladderwrack", "note": "invented", "typed": {}}
    for process in (told, None):
        ExposureLogFactory.create(spec=spec, paper=paper, process=process)
    try:
        MigrationExecutor(connection).migrate(targets["before"])
        old = MigrationExecutor(connection).loader.project_state(targets["before"]).apps
        logs = old.get_model("pinpool_exposures", "ExposureLog").objects.order_by("number")
        assert list(logs.values_list("process", flat=True)) == ["developer Bladderwrack, invented", ""]
    finally:
        MigrationExecutor(connection).migrate(latest)
    processes = ExposureLog.objects.order_by("number").values_list("process", flat=True)
    assert list(processes) == [{"note": "developer Bladderwrack, invented", "typed": {}}, None]
