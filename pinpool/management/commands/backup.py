"""`manage.py backup`: the whole service in one file, while it runs."""

from argparse import ArgumentParser
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from pinpool.service.backups import CannotBackUp, back_up


class Command(BaseCommand):
    help = "Write database, pictures and secret key into one file with checksums. The service may go on running."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("folder", type=Path, help="where to put it; keep a copy on another machine")
        parser.add_argument("--keep", type=int, help="remove all but this many of the newest backups in the folder")

    def handle(self, *args: Any, **options: Any) -> None:
        folder: Path = options["folder"]
        if options["keep"] is not None and options["keep"] < 1:
            raise CommandError("Keep at least one.")
        folder.mkdir(parents=True, exist_ok=True)
        file = folder / f"pinpool-{datetime.now(UTC):%Y%m%dT%H%M%SZ}.tar"
        try:
            manifest = back_up(file)
        except CannotBackUp as fault:
            raise CommandError(str(fault)) from None
        rows, files = sum(manifest["tables"].values()), len(manifest["files"])
        self.stdout.write(f"{file}: {rows} rows, {files} files, {file.stat().st_size} bytes.")
        self.stdout.write("It holds everybody's data and the secret key: keep it where only you can read it.")
        for old in sorted(folder.glob("pinpool-*Z.tar"))[: -options["keep"]] if options["keep"] else ():
            old.unlink()
