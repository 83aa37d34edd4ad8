"""The example's own tests."""

import pytest
from saltmarsh_notebook import plugin
from saltmarsh_notebook.notebook import COLUMNS, table_of

from optics.core.faults import Impossible
from pinpool.testing import assert_sound

PAGE = """Saltmarsh notebook 1
# spring
camera T1, paper Glasswort
2026-05-01 14:20 +01:00 | EV 13 | 4 min | half a stop over | calm | low tide
2026-05-02 09:05 +01:00 | EV 12.5 | 8 min | | fog
camera T2
2026-05-02 10:00 +01:00 | EV 13 | 2 min 30 s | right

paper Cordgrass
2026-05-03 10:00 +01:00 | EV 11 | 9 min | 1.5 stops under
"""


def read(text: str) -> list[list[object]]:
    return [list(row) for row in table_of(content=text.encode(), name="may.notebook").rows]


def test_a_page() -> None:
    assert table_of(content=PAGE.encode(), name="may.notebook").columns == COLUMNS
    assert read(PAGE) == [
        ["T1", "Glasswort", "2026-05-01 14:20 +01:00", "13", "4 min", 0.5, "calm | low tide"],
        ["T1", "Glasswort", "2026-05-02 09:05 +01:00", "12.5", "8 min", None, "fog"],
        ["T2", "Glasswort", "2026-05-02 10:00 +01:00", "13", "2 min 30 s", 0.0, None],
        ["T2", "Cordgrass", "2026-05-03 10:00 +01:00", "11", "9 min", -1.5, None],
    ]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("camera;paper\nT1;Glasswort", "does not begin with the line"),
        ("Saltmarsh notebook 1\nlow tide", "Line 2 is neither an entry nor"),
        ("Saltmarsh notebook 1\n2026-05-01 | EV 13", "Line 2 needs a date, a reading and a time"),
        ("Saltmarsh notebook 1\n2026-05-01 | EV 13 | 4 min | fine", "“fine” does not say how it came out"),
    ],
)
def test_what_is_no_notebook(text: str, told: str) -> None:
    with pytest.raises(Impossible, match=told):
        read(text)


def test_it_is_sound() -> None:
    assert_sound(plugin, {"saltmarsh_notebook": [{"content": PAGE, "name": "may.notebook"}]})


def test_what_is_no_text() -> None:
    with pytest.raises(Impossible, match="no text in UTF-8"):
        table_of(content=b"\xff\xfe\x00\x01", name="x")
