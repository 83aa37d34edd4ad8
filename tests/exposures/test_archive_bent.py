"""An archive with one value bent at random: taken or refused at its place, never a fault of the server."""

import random
from typing import Any

import pytest

from clubs.models import Club
from exposures.archive import SECTIONS
from tests.exposures.archives import Made, send, signed
from tests.problems import faults_in

ODD = (
    None, True, -1, 0, 7, 1.5, 1e17, -1e17, 1e308, 2**63 - 1, "", "x", "x" * 301, "2026-05-01T12:00:00Z", "2026-05-01",
    [], {}, [1], [[]], {"typed": 3}, {"kind": "drum"}, {"ev": "high"}, "1/1", "T1", "T1/1", "NaN",
)  # fmt: skip
#: For each section.
TRIES = 10


def bent(value: Any, rng: random.Random) -> Any:
    """Another value in its place, or somewhere inside it."""
    if isinstance(value, dict) and value and rng.random() < 0.6:
        key = rng.choice(sorted(value))
        return {**value, key: bent(value[key], rng)} if rng.random() < 0.8 else {**value, "lid": 1}
    if isinstance(value, list) and value and rng.random() < 0.6:
        place = rng.randrange(len(value))
        return [bent(each, rng) if n == place else each for n, each in enumerate(value)]
    return rng.choice(ODD)


@pytest.mark.parametrize("section", SECTIONS)
def test_one_value_is_bent(made: Made, section: str) -> None:
    """What is taken can be read again, and handed out again."""
    told, client = made.archive(pictures="listed"), made.as_user()
    rng, taken = random.Random(section), 0  # noqa: S311
    for number in range(TRIES):
        rows = [dict(row) for row in told[section]]
        row = rng.choice(rows)
        column = rng.choice(sorted(row))
        row[column] = bent(row[column], rng)
        slug = f"bent-{number}"
        response = send(client, signed(told | {section: rows}), slug=slug)
        if response.status_code == 201:
            taken += 1
            assert client.get(f"/api/v1/clubs/{slug}/exposures/?corrected=true").status_code == 200
            assert client.get(f"/api/v1/clubs/{slug}/reciprocity/").status_code == 200
            made.archive(client, slug, "listed")
        else:
            assert response.status_code in {400, 409, 422}, response.content
            assert response.status_code == 409 or faults_in(response, response.status_code)
            assert not Club.objects.filter(slug=slug).exists()
    assert taken < TRIES
