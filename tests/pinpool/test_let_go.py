"""Answers, which can be long, go as soon as they are given, not when Python next looks for circles."""

import gc
import weakref
from collections.abc import Iterator

import pytest
from django.test import RequestFactory
from django.urls import resolve

from tests.bodies import OPTICS


@pytest.fixture
def uncollected() -> Iterator[None]:
    gc.disable()
    yield
    gc.enable()


@pytest.mark.usefixtures("uncollected")
def test_an_answer_is_let_go_at_once() -> None:
    path = "/api/v1/optics/f-number/"
    view, args, kwargs = resolve(path)
    answer = view(RequestFactory().post(path, OPTICS["f-number/"], "application/json"), *args, **kwargs).render()
    assert answer.status_code == 200
    known = weakref.ref(answer)
    del answer
    assert known() is None
