"""Asking an optics endpoint, and reading the quantities of its answer."""

from collections.abc import Iterator
from typing import Any

from rest_framework.test import APIClient

from optics.core.say import say_time


def ask(api: APIClient, path: str, body: Any, query: str = "") -> Any:
    response = api.post(f"/api/v1/optics/{path}/{query}", body)
    assert response.status_code == 200, response.content
    assert response["Content-Type"] == "application/json"
    return response.json()


def quantities(answer: Any, at: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """Every quantity in an answer, with the way to it."""
    if isinstance(answer, dict) and "unit" in answer:
        yield at, answer
    elif isinstance(answer, dict | list):
        for key, value in answer.items() if isinstance(answer, dict) else enumerate(answer):
            yield from quantities(value, f"{at}/{key}")


def mm(quantity: dict[str, Any]) -> float:
    assert quantity.keys() == {"value", "unit"}
    assert quantity["unit"] == "mm"
    return float(quantity["value"])


def deg(quantity: dict[str, Any]) -> float:
    assert quantity.keys() == {"value", "unit"}
    assert quantity["unit"] == "deg"
    return float(quantity["value"])


def seconds(quantity: dict[str, Any]) -> float:
    """A time, with its words beside it."""
    assert quantity.keys() == {"value", "unit", "text"}
    assert quantity["unit"] == "s"
    assert quantity["text"] == say_time(quantity["value"])
    return float(quantity["value"])
