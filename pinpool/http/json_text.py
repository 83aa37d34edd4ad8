"""Answers as JSON: numpy arrays as they are, NaN and infinities as null."""

from typing import Any

import numpy as np
import orjson


def as_json(data: Any) -> bytes:
    """UTF-8. Half characters, which only a plug-in's own texts can hold, become question marks: no UTF-8 has them.

    Whole numbers are written out however long they are, as somebody may have written one.
    """
    try:
        return orjson.dumps(data, default=_plain, option=orjson.OPT_SERIALIZE_NUMPY)
    except orjson.JSONEncodeError:
        return orjson.dumps(_whole(data), default=_plain, option=orjson.OPT_SERIALIZE_NUMPY)


def _plain(value: Any) -> Any:
    if isinstance(value, np.ndarray):  # not contiguous, or of a kind orjson does not take
        return value.tolist()
    return str(value)


def _whole(value: Any) -> Any:
    match value:
        case int() if value.bit_length() > 63:
            return orjson.Fragment(str(value))
        case str():
            return value.encode("utf-8", "replace").decode()
        case dict():
            return {_whole(key): _whole(each) for key, each in value.items()}
        case list() | tuple():
            return [_whole(each) for each in value]
    return value
