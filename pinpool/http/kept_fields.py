"""Serializers whose fields are made once for each thread, not once for each request: that is most of what they cost."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from rest_framework.serializers import BaseSerializer, Serializer


class _Kept(threading.local):
    """The fields of each serializer that nobody in this thread is using."""

    def __init__(self) -> None:
        self.fields: dict[type[BaseSerializer], Any] = {}


_kept = _Kept()


@contextmanager
def bound(serializer: type[BaseSerializer], **given: Any) -> Iterator[Any]:
    """A serializer made with what is `given`, to be used inside the block and not after it.

    DRF has the same fields read one row of a list after another, so none remembers anything of the last. They know
    their serializer, though, and with it the request: that is why another thread has its own.
    """
    made = serializer(**given)
    if not isinstance(made, Serializer):
        yield made
        return
    fields = _kept.fields.pop(serializer, None)
    if fields is None:
        blank: Any = serializer()
        fields = blank.fields
    made.__dict__["fields"] = fields  # in the place of DRF's cached property
    nobody = fields.serializer
    try:
        for field in fields.values():
            field.parent = made
        yield made
    finally:
        for field in fields.values():
            field.parent = nobody  # or the request would be held until the next
        _kept.fields[serializer] = fields
