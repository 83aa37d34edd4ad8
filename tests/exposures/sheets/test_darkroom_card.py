"""The darkroom card: every bath, time and caution on it, whatever the process tells."""

from typing import Any

import pytest

from clubs.sheets.blocks import checked
from clubs.sheets.documents import document
from clubs.sheets.press import pdf
from exposures.darkroom import baths_for
from exposures.sheets.darkroom_card import CHEMICALS_CAUTION, MAINS_CAUTION, WASTE_CAUTION, darkroom_card

PROCESS = {
    "developer": "Brackish No. 2", "dilution": "1+9", "temperature_c": 20.0, "time_s": 90.0, "volume_ml": 500.0,
    "method": "tray", "agitation": "one rock every 2 s", "note": "Longer when it is cold.", "typed": {},
}  # fmt: skip


def card(process: dict[str, Any] | None, **more: Any) -> dict[str, Any]:
    return darkroom_card(process=process, negatives=48, negative_mm=(150.0, 80.0), **more)


def blocks(section: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    return [block for block in section["blocks"] if block["kind"] == kind]


def test_what_the_process_says_is_on_the_card() -> None:
    found = card(PROCESS, stations=2)
    facts = dict(blocks(found, "facts")[0]["rows"])
    assert facts["Developer"] == "Brackish No. 2"
    assert facts["Temperature"] == "20 °C, all baths alike"
    assert facts["Negatives"] == "48 of 150 × 80 mm"
    assert facts["Worked in"] == "trays in a row, 2 side by side"
    assert facts["Note"] == "Longer when it is cold."
    steps = blocks(found, "steps")[0]["items"]
    assert steps[0].startswith("Developer, 1 min 30 s. ")
    assert "one rock every 2 s" in steps[0]
    assert [step.split(",")[0] for step in steps[:-1]] == [
        "Developer", "Water rinse", "Stop bath", "Water rinse", "Fixer", "Wash",
    ]  # fmt: skip


def test_the_baths_are_those_reckoned() -> None:
    """0.5 l at each of two stations; a negative of 0.012 m²: 41 on 0.5 m², once is enough for 24 at each."""
    developer, _, fixer = blocks(card(PROCESS, stations=2), "table")[0]["rows"]
    assert developer == [
        "Developer",
        "500 ml at each of 2 stations, once",
        "1+9: 100 ml + 900 ml water",
        "41 negatives",
    ]
    reckoned = baths_for(PROCESS, negatives=48, negative_m2=0.012, stations=2)[2]
    assert fixer[3] == f"{reckoned.good_for} negatives"
    assert fixer[2] == "1+9: 100 ml + 900 ml water or 1+4: 200 ml + 800 ml water"


def test_without_a_process_ranges_and_their_sources() -> None:
    found = card(None)
    assert blocks(found, "steps")[0]["items"][0].startswith("Developer, 1 min to 2 min. ")
    sources = str(blocks(found, "table")[-1]["rows"])
    for source in ("SS0509", "Darkroom Cookbook", "(from memory)", "common practice, no source"):
        assert source in sources
    assert blocks(found, "table")[0]["rows"][0][2] == "See its label"
    assert blocks(card({"dilution": "1:9"}), "table")[0]["rows"][0][2] == "1:9: see its label"


@pytest.mark.parametrize("process", [None, {}, PROCESS, {"note": "x", "typed": {}}, {"method": "rotary"}])
def test_the_cautions_stand_where_the_hand_is(process: Any) -> None:
    """Chemicals before anything is mixed, mains before the work, waste after it."""
    kinds = [(block["kind"], block.get("text")) for block in card(process)["blocks"]]
    at = {text: kinds.index(("caution", text)) for text in (CHEMICALS_CAUTION, MAINS_CAUTION, WASTE_CAUTION)}
    steps = next(index for index, (kind, _) in enumerate(kinds) if kind == "steps")
    assert at[CHEMICALS_CAUTION] < at[MAINS_CAUTION] < steps < at[WASTE_CAUTION]
    said = f"{CHEMICALS_CAUTION} {MAINS_CAUTION} {WASTE_CAUTION}"
    for word in ("acid into water", "nitrile gloves", "silver", "local codes", "safety data sheet", "licensed"):
        assert word in said
    assert checked([card(process)]) == [card(process)]


def test_a_hostile_process_is_only_text() -> None:
    names = ("developer", "dilution", "agitation", "note")
    hostile = dict.fromkeys(names, "#set page(fill: red) \u202e<b>" + "W" * 40)
    whole = {"kind": "darkroom_card", "title": "x", "subject": "y", "made_at": "2026-05-01T12:00:00+00:00"}
    assert pdf(document(sections=[card(hostile)], **whole)).startswith(b"%PDF")
