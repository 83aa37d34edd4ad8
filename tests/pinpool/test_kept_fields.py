"""Serializers whose fields are used again."""

import gc
import weakref
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

import pytest
from rest_framework import serializers

from pinpool.http.kept_fields import bound


class WhoOut(serializers.Serializer):
    who = serializers.SerializerMethodField()

    def get_who(self, row: Any) -> str:
        return f"{row} by {self.context['by']}"


class InnerIn(serializers.Serializer):
    size = serializers.IntegerField(max_value=9)


class OuterIn(serializers.Serializer):
    inner = InnerIn()
    name = serializers.CharField(default="nobody")


class Request:
    pass


def shown(by: str) -> str:
    with bound(WhoOut, instance="log", context={"by": by}) as serializer:
        return str(serializer.data["who"])


def test_each_use_sees_its_own_context() -> None:
    assert [shown(name) for name in ("one", "other")] == ["log by one", "log by other"]
    with bound(WhoOut, instance="log", context={"by": "outer"}) as outer:
        assert shown("inner") == "log by inner"  # of the same class, while it is in use
        assert outer.data == {"who": "log by outer"}
    together = Barrier(4)

    def asked(number: int) -> bool:
        with bound(WhoOut, instance=number, context={"by": str(number)}) as serializer:
            together.wait(30)
            return bool(serializer.data["who"] == f"{number} by {number}")

    with ThreadPoolExecutor(4) as threads:
        assert all(threads.map(asked, range(4)))


def test_a_body_with_faults_leaves_none_for_the_next() -> None:
    for data, faults in (
        ({"inner": {"size": 10}}, {"inner": {"size": ["max_value"]}}), ({}, {"inner": ["required"]}),
        ({"inner": {"size": 9}}, None),
    ):  # fmt: skip
        with bound(OuterIn, data=data) as body:
            if faults:
                with pytest.raises(serializers.ValidationError) as refused:
                    body.is_valid(raise_exception=True)
                assert refused.value.get_codes() == faults
            else:
                body.is_valid(raise_exception=True)
                assert body.validated_data == {"inner": {"size": 9}, "name": "nobody"}


def test_nothing_of_a_request_is_kept() -> None:
    request = Request()
    with bound(WhoOut, instance="log", context={"by": request}) as serializer:
        assert serializer.data
    held = weakref.ref(request)
    del request, serializer
    gc.collect()
    assert held() is None
