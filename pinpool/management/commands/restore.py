"""`manage.py restore FILE`: a backup into an empty place."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from pinpool.service.backups import CannotBackUp, restore


class Command(BaseCommand):
    help = "Bring a backup into an empty database and an empty folder of pictures, verify it, and bring it up to date."
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            manifest = restore(options["file"])
        except CannotBackUp as fault:
            raise CommandError(str(fault)) from None
        rows, files = sum(manifest["tables"].values()), len(manifest["files"])
        self.stdout.write(
            f"Restored {rows} rows and {files} files as of {manifest['made_at']}. Everything is as it was."
        )
