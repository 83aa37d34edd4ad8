"""Everything that follows from a camera's shape and a light reading, as a Django app without tables."""

from django.apps import AppConfig


class OpticsConfig(AppConfig):
    name = "optics"
    label = "pinpool_optics"
    verbose_name = "Pinpool optics"

    def ready(self) -> None:
        from optics import schema  # noqa: F401, PLC0415  (registers itself with the schema generator)
