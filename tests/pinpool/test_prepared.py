"""Statements that are compiled once."""

import uuid
from typing import Any

import pytest

from exposures.models import ExposureLog
from pinpool.prepared import PreparedInsert, fields_of
from tests.factories import ExposureLogFactory

pytestmark = pytest.mark.django_db


def told(log: Any) -> dict[str, Any]:
    return {field.attname: getattr(log, field.attname) for field in fields_of(ExposureLog)}


def test_a_prepared_insert_stores_all_that_the_orm_stores() -> None:
    insert = PreparedInsert(ExposureLog)
    by_orm = ExposureLogFactory.create(note="½ ü", process={"developer": "invented"})
    for note in ("the statement is made", "and asked again"):
        again = ExposureLog(**told(by_orm) | {"number": None, "id": uuid.uuid4(), "note": note})
        insert(again)
        assert again.number > by_orm.number
        assert not again._state.adding
        stored = told(ExposureLog.objects.get(number=again.number))
        own = {name: getattr(again, name) for name in ("number", "id", "note", "created_at")}
        assert stored == told(ExposureLog.objects.get(number=by_orm.number)) | own
