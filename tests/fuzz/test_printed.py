"""Names of any signs at all, printed: a sheet of them is set, shown and read back."""

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from tests.clubs.test_api import Here
from tests.fuzz.effort import tries

ODD = st.lists(
    st.one_of(
        st.sampled_from(["#", "$", "\\", "[", "]", "<", ">", "*", "_", "`", "@", "//", "/*", '"', "'", "~", "=", "-",
        "+", "\n"]),
        st.sampled_from(["#panic()", "\u202e", "\u200d", "\ufeff", "\ufffe", "\uffff", "\U0010ffff", "\x85", "\x7f",
        "\u0301", "🐚", "\u2028"]),
        st.text(max_size=3),
    ),
    min_size=1, max_size=6,
).map("".join)  # fmt: skip


@tries(3, 600)
@given(name=ODD, note=ODD)
def test_names_of_any_signs_are_printed(here: Here, name: str, note: str) -> None:
    client, match = here.clients["keeper"], {"If-Match": "*"}
    changed = client.patch(f"{here.at}cameras/T1/", {"name": name, "note": note}, headers=match)
    assert changed.status_code in {200, 400}, changed.content
    body: Any = here.bodies["cameras/T1/sheets/"]
    issued = client.post(f"{here.at}cameras/T1/sheets/", body)
    assert issued.status_code == 201, issued.content
    at = f"{here.at}sheets/{issued.json()['id']}/"
    for path in ("", "pdf/", "pages/1/"):
        assert client.get(at + path).status_code == 200
