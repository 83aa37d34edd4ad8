"""Whether code and database are of the same version, by the migrations that each knows of, and how they become so."""

from typing import Any

from django.core.management import call_command
from django.db import connection, transaction
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.migration import Migration

#: Our apps' labels all begin so. Django's own apps may be ahead of the code: they get on with that.
_OURS = "pinpool"

TOO_OLD = (
    "This is older than its database, which {name} has changed already. Nothing was touched. "
    "Run the version that was running last, or a newer one; or restore a backup of before into a new, empty place."
)


def unapplied() -> list[str]:
    """Migrations that the database has not seen."""
    executor = MigrationExecutor(connection)
    plan = executor.migration_plan(executor.loader.graph.leaf_nodes())
    return [str(migration) for migration, _ in plan]


def unknown() -> list[str]:
    """Migrations of our apps that the database has seen and this code has not: a newer version's."""
    loader = MigrationLoader(connection)
    known = loader.disk_migrations.keys() | {old for each in loader.disk_migrations.values() for old in each.replaces}
    return sorted(
        f"{app}.{name}" for app, name in loader.applied_migrations if app.startswith(_OURS) and (app, name) not in known
    )


class _Whole(MigrationExecutor):
    """Does a migration and notes that it is done in one transaction.

    Django notes many a one after their transaction. Killed in between, it would do them again, and fail for good.
    """

    def apply_migration(self, state: Any, migration: Migration, *how: Any, **more: Any) -> Any:
        if not migration.atomic:
            return super().apply_migration(state, migration, *how, **more)
        # SQLite can switch foreign keys off only outside a transaction, and its tables are made anew without them.
        with connection.constraint_checks_disabled(), transaction.atomic():
            return super().apply_migration(state, migration, *how, **more)


def bring_up_to_date() -> None:
    """As `manage.py migrate`, and whenever it is killed, running it again gets on with what is left."""
    executor = _Whole(connection)
    executor.loader.check_consistent_history(connection)
    executor.migrate(executor.loader.graph.leaf_nodes())
    call_command("migrate", interactive=False, verbosity=0)  # what Django does once all are applied
