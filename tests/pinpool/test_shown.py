"""What answers show is what DRF's own serializers show of the same."""

from types import MappingProxyType, SimpleNamespace
from typing import Any

import pytest
from rest_framework import serializers

from pinpool.http.fields import Length, Number, Numbers, ShownSerializer

INNER = {"width": Length(source="width_mm"), "note": serializers.CharField(allow_null=True)}
OUTER = {
    "width": Length(source="inner.width_mm", required=False),
    "share": Number(default=0.5),
    "stops": Number(allow_null=True),
    "told": serializers.CharField(source="tell", required=False),
    "secret": serializers.CharField(write_only=True),
    "xs": Numbers(source="xs_mm", required=False),
}


def of(base: type[serializers.Serializer]) -> type[serializers.Serializer]:
    """The same fields, shown by `base`."""
    inner = type("InnerOut", (base,), dict(INNER))
    return type("OuterOut", (base,), OUTER | {"inner": inner(required=False), "rows": inner(many=True, source="all")})


INSIDE: Any = SimpleNamespace(width_mm=25.4, note=None)
SHOWN = {
    "objects": SimpleNamespace(inner=INSIDE, share=0.1, stops=2, tell="so", xs_mm=[1.0], all=(INSIDE, INSIDE)),
    "keys": {"inner": {"width_mm": 25.4, "note": "n"}, "share": 1, "stops": float("nan"), "all": [INSIDE]},
    "keys of another mapping": MappingProxyType({"inner": INSIDE, "share": None, "all": []}),
    "hardly anything": {"all": []},
    "nothing inside": SimpleNamespace(inner=None, all=[]),
}


@pytest.mark.parametrize("what", SHOWN)
@pytest.mark.parametrize("lengths", ["mm", "in"])
def test_as_by_drf(what: str, lengths: str) -> None:
    ours, theirs = (
        of(base)(SHOWN[what], context={"lengths": lengths}).data for base in (ShownSerializer, serializers.Serializer)
    )
    assert list(ours) == list(theirs)
    for key, value in theirs.items():
        assert list(ours[key]) == list(value) if key == "xs" else ours[key] == value
    assert "rows" in ours


def test_what_must_be_there_is_missed() -> None:
    with pytest.raises(KeyError, match=r"rows.*OuterOut"):
        assert of(ShownSerializer)({}).data
