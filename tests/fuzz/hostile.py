"""JSON bent out of shape: values that no honest sender writes, put in the place of others."""

import copy
from typing import Any

from hypothesis import strategies as st

VALUES = st.one_of(
    st.sampled_from([None, True, False, 0, -1, 1, -0.0, 5e-324, 1e17, -1e17, 1e308, 2**31, 2**53 + 1, 2**63, 10**60]),
    st.sampled_from(["", " ", "é", "\u202e", "\ud7ff\uffff", "a" * 300, "0", "-1", "1e400", "NaN", "½ in", "1 mm",
    "=1"]),
    st.sampled_from(["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", "2026-05-01T12:00:00", "0001-01-01"]),
    st.sampled_from(["00000000-0000-0000-0000-000000000000", "T1", "Glasswort", "walker", "drum", "1", "1/1", "../x"]),
    st.builds(list), st.builds(dict),
    st.sampled_from([[[]], [None], [[1, 2], [3]], {"a": None}, {"": 1}, {"value": 1, "unit": "mm"}, {"typed": 3}]),
    st.floats(allow_nan=False, allow_infinity=False), st.integers(-(2**64), 2**64), st.text(max_size=5),
).map(copy.deepcopy)  # fmt: skip  # of its own: what is put somewhere may itself be bent


def places_in(value: Any, at: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The way to every value within a value of JSON, by keys and places."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [found for key, inner in items for found in ((*at, key), *places_in(inner, (*at, key)))]


@st.composite
def bent(draw: st.DrawFn, good: Any, most: int = 3) -> Any:
    """`good` with one value or a few replaced, taken away, doubled, or under another key; numbers also nudged."""
    made = copy.deepcopy(good)
    for _ in range(draw(st.integers(1, most))):
        places = places_in(made)
        if not places:
            return draw(VALUES)
        *way, last = draw(st.sampled_from(places))
        holder = made
        for step in way:
            holder = holder[step]
        match draw(st.integers(0, 9)):
            case 0:
                del holder[last]
            case 1 if isinstance(holder, list):
                holder.append(copy.deepcopy(holder[last]))
            case 1:
                holder[draw(st.text(max_size=3))] = holder[last]
            case 2 if isinstance(holder[last], int | float) and not isinstance(holder[last], bool):
                nudged = holder[last] * draw(st.sampled_from([0, -1, 1e-300, 1e-9, 0.5, 2, 1e9, 1e16]))
                holder[last] = min(max(nudged, -1e308), 1e308)  # JSON has no infinity
            case _:
                holder[last] = draw(VALUES)
    return made
