"""Everything that follows from a camera's shape and a light reading, as a Django app without tables."""

from django.apps import AppConfig


class OpticsConfig(AppConfig):
    name = "optics"
    label = "pinpool_optics"
    verbose_name = "Pinpool optics"

    def ready(self) -> None:
        from optics import (  # noqa: PLC0415  (apps must be ready first)
            plugin_checks,
            schema,  # noqa: F401  (registers itself with the schema generator)
        )

        plugin_checks.contribute_all()
