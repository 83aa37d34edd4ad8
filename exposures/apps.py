"""Papers, the shared log, and what it teaches, as a Django app."""

from django.apps import AppConfig


class ExposuresConfig(AppConfig):
    name = "exposures"
    label = "pinpool_exposures"
    verbose_name = "Pinpool exposures"
    default_auto_field = "django.db.models.BigAutoField"
