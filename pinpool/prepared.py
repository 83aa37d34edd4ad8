"""Statements that are built and compiled once. Doing both anew takes longer than the database takes to answer."""

from collections.abc import Callable, Iterator, Sequence
from typing import Any
from weakref import WeakKeyDictionary

from django.db import connections, router
from django.db.models import Expression, Model, QuerySet
from django.db.models.sql import InsertQuery


class Told(Expression):
    """Stands in a prepared statement for a value of `field` that is told by name each time it is asked."""

    def __init__(self, name: str, field: Any) -> None:
        super().__init__(output_field=getattr(field, "target_field", field))
        self.name = name

    def as_sql(self, compiler: Any, connection: Any) -> Any:  # noqa: ARG002  (Django's signature)
        return "%s", [self]


class Prepared:
    """The statement of a queryset of `values_list`, which `make` builds with a `Told` for each value that varies."""

    def __init__(self, make: Callable[[], QuerySet]) -> None:
        self._make = make
        self._rows: QuerySet | None = None
        # By connection, so by thread: a compiler belongs to the connection that it was made for.
        self._compiled: WeakKeyDictionary[Any, Any] = WeakKeyDictionary()

    def __call__(self, **told: Any) -> Iterator[tuple[Any, ...]]:
        """The rows, converted as the queryset would convert them."""
        if self._rows is None:
            self._rows = self._make()
        connection: Any = connections[self._rows.db]
        if connection not in self._compiled:
            compiler = self._rows.query.get_compiler(connection=connection)
            sql, params = compiler.as_sql()
            converters = compiler.get_converters([column for column, *_ in compiler.select])
            self._compiled[connection] = compiler, sql, params, converters
        compiler, sql, params, converters = self._compiled[connection]
        values = [
            each.output_field.get_db_prep_value(told[each.name], connection) if isinstance(each, Told) else each
            for each in params
        ]
        with connection.cursor() as cursor:
            cursor.execute(sql, values)
            found = cursor.fetchall()
        return map(tuple, compiler.apply_converters(found, converters))


def columns_of(model: type[Model], at: str = "") -> list[str]:
    """What `values_list` takes for all that `model_from` makes an instance of."""
    return [at + field.attname for field in fields_of(model)]


def model_from(model: type[Any], values: Any) -> Any:
    """The instance whose columns are the next of `values`, an iterator."""
    names = [field.attname for field in fields_of(model)]
    return model.from_db(model._default_manager.db, names, [next(values) for _ in names])


def fields_of(model: type[Model]) -> Sequence[Any]:
    return model._meta.concrete_fields


class PreparedInsert:
    """The INSERT of one row of a model whose key the database draws. Sends no signals, as `bulk_create` sends none."""

    def __init__(self, model: type[Model]) -> None:
        self._model = model
        self._compiled: WeakKeyDictionary[Any, str] = WeakKeyDictionary()  # by connection, as above

    def __call__(self, row: Model) -> None:
        """Store a new row, and tell it its key."""
        key, connection = self._model._meta.pk, connections[router.db_for_write(self._model, instance=row)]
        fields = [field for field in fields_of(self._model) if field is not key]
        if connection not in self._compiled:
            query = InsertQuery(self._model)
            query.insert_values(fields, [row])
            compiler: Any = query.get_compiler(connection=connection)
            compiler.returning_fields = [key]
            [(self._compiled[connection], _)] = compiler.as_sql()
        values = [field.get_db_prep_save(field.pre_save(row, True), connection) for field in fields]
        with connection.cursor() as cursor:
            cursor.execute(self._compiled[connection], values)
            [row.pk] = cursor.fetchone()
        row._state.adding, row._state.db = False, connection.alias
