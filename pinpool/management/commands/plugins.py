"""`manage.py plugins`: every plug-in found, as `/api/v1/plugins/` lists it."""

from typing import Any

from django.core.management.base import BaseCommand

from pinpool.plugins.registry import listed


class Command(BaseCommand):
    help = "List every plug-in found, where it comes from, how it stands, and what it contributes."

    def handle(self, *args: Any, **options: Any) -> None:
        for row in listed():
            came = f"{row['name']} {row['version']}".strip()
            self.stdout.write(f"{came}, of the package {row['package']}: {row['state']}. {row['reason']}")
            for point, names in row["contributes"].items():
                self.stdout.write(f"    {point}: {', '.join(names)}")
