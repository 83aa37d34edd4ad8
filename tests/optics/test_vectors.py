"""The core against the vectors that any other writing of it must pass too; see `fixtures/vectors/`."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from rest_framework import serializers

from optics.core.faults import Impossible
from optics.core.light import Light
from optics.core.progress import Segment, progress
from optics.core.reciprocity import Law, NoFailure, PowerLaw, TableLaw
from optics.core.say import say_f_number, say_stops, say_time
from optics.inputs import ReadingField
from pinpool.http.problems import faults_of

VECTORS = {
    name: json.loads((Path(__file__).parents[2] / f"fixtures/vectors/{name}.json").read_text(encoding="utf-8"))
    for name in ("light", "reciprocity", "times", "progress")
}


def shown(case: Any) -> str:
    return ascii(case)[:100]


def law_of(told: dict[str, Any]) -> Law:
    match told["law"]:
        case "none":
            return NoFailure()
        case "power":
            return PowerLaw(told["exponent"], told.get("from_s", 1.0))
        case _:
            return TableLaw(tuple((row[0], row[1]) for row in told["rows_s"]))


@pytest.mark.parametrize("case", VECTORS["light"]["accepted"], ids=shown)
def test_readings(case: dict[str, Any]) -> None:
    assert ReadingField().run_validation(case["reading"]) == pytest.approx(case["ev100"], rel=1e-12, abs=1e-12)


@pytest.mark.parametrize("case", VECTORS["light"]["refused"], ids=shown)
def test_readings_refused(case: dict[str, Any]) -> None:
    with pytest.raises(serializers.ValidationError) as refused:
        ReadingField().run_validation(case["reading"])
    [(pointer, fault)] = faults_of(refused.value.detail)
    assert (pointer, fault.code) == (f"/{case['key']}" if case["key"] else "", case["code"])


@pytest.mark.parametrize("case", VECTORS["light"]["indicated"], ids=shown)
def test_indicated_times(case: dict[str, Any]) -> None:
    time = Light(case["ev100"]).time_s(f_number=case["f_number"], exposure_index=case["exposure_index"])
    assert time * 2 ** case["filter_stops"] == pytest.approx(case["time_s"], rel=1e-12)


@pytest.mark.parametrize("case", VECTORS["reciprocity"]["accepted"], ids=shown)
def test_laws(case: dict[str, Any]) -> None:
    assert law_of(case["law"]).correct(case["indicated_s"]) == pytest.approx(case["corrected_s"], rel=1e-9)


@pytest.mark.parametrize("case", VECTORS["reciprocity"]["refused"], ids=shown)
def test_laws_refused(case: dict[str, Any]) -> None:
    with pytest.raises(Impossible) as refused:
        law_of(case["law"])
    assert refused.value.code == case["code"]


@pytest.mark.parametrize("case", VECTORS["times"]["times"], ids=shown)
def test_times_in_words(case: dict[str, Any]) -> None:
    assert say_time(case["time_s"]) == case["text"]


def test_f_numbers_and_stops_in_words() -> None:
    numbers, stops = VECTORS["times"]["f_numbers"], VECTORS["times"]["stops"]
    assert [say_f_number(case["f_number"]) for case in numbers] == [case["text"] for case in numbers]
    assert [say_stops(case["stops"]) for case in stops] == [case["text"] for case in stops]


@pytest.mark.parametrize("case", VECTORS["progress"]["cases"], ids=shown)
def test_progress(case: dict[str, Any]) -> None:
    found = progress(
        [Segment(*segment) for segment in case["segments"]],
        ev100_now=case["ev100_now"],
        f_number=case["f_number"],
        exposure_index=case["exposure_index"],
        filter_stops=case["filter_stops"],
        law=law_of(case["law"]),
    )
    latest = np.inf if case["latest_s"] is None else case["latest_s"]
    told = (case["share"], case["given_s"], case["remaining_s"], case["soonest_s"], latest)
    got = (found.share, found.given_s, found.remaining_s, found.soonest_s, found.latest_s)
    assert got == pytest.approx(told, rel=1e-4)
    assert [flag.code for flag in found.flags] == case["codes"]


def test_the_vectors_hold_every_code() -> None:
    codes = {case["code"] for case in VECTORS["reciprocity"]["refused"]}
    assert codes == {
        "exponent_range", "not_positive", "table_rows", "table_order", "table_shortens", "table_steep",
    }  # fmt: skip
    assert {code for case in VECTORS["progress"]["cases"] for code in case["codes"]} == {"complete", "light_fails"}
