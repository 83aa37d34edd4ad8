"""`manage.py serve`: the service for real use."""

import os
from argparse import ArgumentParser
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from pinpool.service.serving import serve
from pinpool.service.versions import TOO_OLD, bring_up_to_date, unknown


class Command(BaseCommand):
    help = (
        "Serve the site: several workers, renewed, stopped gracefully by Ctrl-C or SIGTERM. Brings the database up to "
        "date first. Refuses to start while manage.py check --deploy finds anything; --trial leaves that out, and then "
        "only this machine is served."
    )
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--address", default="127.0.0.1", help="where to listen; a proxy stands before it")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--workers", type=int, default=max(2, os.cpu_count() or 2), help="processes")
        parser.add_argument("--threads", type=int, default=4, help="requests that each worker answers at once")
        parser.add_argument("--trial", action="store_true", help="no checks, and this machine alone")

    def handle(self, *args: Any, **options: Any) -> None:
        if not options["trial"]:
            call_command("check", deploy=True, fail_level="WARNING")
        if newer := unknown():
            raise CommandError(TOO_OLD.format(name=newer[0]))
        bring_up_to_date()
        address = "127.0.0.1" if options["trial"] else options["address"]
        self.stdout.write(f"Serving on http://{address}:{options['port']}/; stop with Ctrl-C.")
        self.stdout.flush()
        serve(address=address, port=options["port"], workers=options["workers"], threads=options["threads"])
        self.stdout.write("Stopped.")
