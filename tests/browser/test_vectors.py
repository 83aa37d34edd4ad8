"""What the browser reckons without a server, in a real browser, against the vectors that hold for the service too."""

import json
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

VECTORS = Path(__file__).parents[2] / "fixtures" / "vectors"

#: Each gives a list of what did not come out as the vectors have it.
READ_QUANTITIES = """async (vectors) => {
    const { readQuantity } = await import("/static/pinpool/quantities.js");
    const wrong = [];
    for (const of of [...vectors.accepted, ...vectors.accepted_objects]) {
        const { value, typed } = readQuantity(of.text ?? of.object, of.kind);
        const near = Math.abs(value - of.value) <= 1e-15 * Math.abs(of.value);
        if (!near || typed !== (of.typed ?? of.text)) wrong.push([of, value, typed]);
    }
    for (const of of [...vectors.refused, ...vectors.refused_objects]) {
        try {
            wrong.push([of, readQuantity("text" in of ? of.text : of.data, of.kind)]);
        } catch (fault) {
            if (fault.code !== of.code || !fault.message.endsWith(".")) wrong.push([of, fault.code, fault.message]);
        }
    }
    return wrong;
}"""
READ_LIGHT = """async (vectors) => {
    const { indicatedTime, readLight } = await import("/static/optics/exposure.js");
    const wrong = [];
    for (const of of vectors.accepted) {
        if (!(Math.abs(readLight(of.reading) - of.ev100) < 1e-11)) wrong.push([of, readLight(of.reading)]);
    }
    for (const of of vectors.refused) {
        try {
            wrong.push([of, readLight(of.reading)]);
        } catch (fault) {
            if (fault.code !== of.code || fault.key !== of.key) wrong.push([of, fault.code, fault.key]);
        }
    }
    for (const { ev100, f_number, exposure_index, filter_stops, time_s } of vectors.indicated) {
        const found = indicatedTime({
            ev100, fNumber: f_number, exposureIndex: exposure_index, filterStops: filter_stops,
        });
        if (!(Math.abs(found / time_s - 1) < 1e-12)) wrong.push([time_s, found]);
    }
    return wrong;
}"""
FOLLOW_LAWS = """async (vectors) => {
    const { lawOf } = await import("/static/optics/exposure.js");
    const wrong = [];
    for (const of of vectors.accepted) {
        const found = lawOf(of.law)(of.indicated_s);
        if (!(Math.abs(found / of.corrected_s - 1) < 1e-9)) wrong.push([of, found]);
    }
    for (const of of vectors.refused) {
        try {
            lawOf(of.law);
            wrong.push([of]);
        } catch (fault) {
            if (fault.code !== of.code) wrong.push([of, fault.code, fault.message]);
        }
    }
    return wrong;
}"""
SAY_TIMES = """async (vectors) => {
    const { sayTime, sayFNumber, sayStops } = await import("/static/optics/exposure.js");
    const said = [
        ...vectors.times.map(({ time_s, text }) => [time_s, sayTime(time_s), text]),
        ...vectors.f_numbers.map(({ f_number, text }) => [f_number, sayFNumber(f_number), text]),
        ...vectors.stops.map(({ stops, text }) => [stops, sayStops(stops), text]),
    ];
    return said.filter(([, found, text]) => found !== text);
}"""
FOLLOW_LIGHT = """async (vectors) => {
    const { indicatedTime, lawOf, progress } = await import("/static/optics/exposure.js");
    const near = (found, told) => found === told || Math.abs(found - told) <= 1e-4 * Math.abs(told);
    return vectors.cases.filter((of) => {
        const law = lawOf(of.law);
        const camera = { fNumber: of.f_number, exposureIndex: of.exposure_index, filterStops: of.filter_stops };
        const wholeTime = (ev100) => law(indicatedTime({ ev100, ...camera }));
        const found = progress(of.segments, { evNow: of.ev100_now, wholeTime });
        const codes = [found.complete && "complete", found.lightFails && "light_fails"].filter(Boolean);
        return !(
            near(found.share, of.share) && near(found.given, of.given_s) && near(found.remaining, of.remaining_s) &&
            near(found.soonest, of.soonest_s) && near(found.latest, of.latest_s ?? Infinity) &&
            codes.join() === of.codes.join()
        );
    });
}"""


@pytest.mark.parametrize(
    ("name", "run"),
    [
        ("quantities", READ_QUANTITIES),
        ("light", READ_LIGHT),
        ("reciprocity", FOLLOW_LAWS),
        ("times", SAY_TIMES),
        ("progress", FOLLOW_LIGHT),
    ],
    ids=["quantities", "light", "reciprocity", "times", "progress"],
)
def test_the_browser_reckons_as_the_service_does(browser: Browser, live_server: Any, name: str, run: str) -> None:
    page = browser.new_page()
    page.goto(live_server.url)
    vectors = json.loads((VECTORS / f"{name}.json").read_text(encoding="utf-8"))
    assert page.evaluate(run, vectors) == []
    page.close()
