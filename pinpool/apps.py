"""The ground floor as a Django app."""

from typing import Any

from django.apps import AppConfig
from django.core import checks


class PinpoolConfig(AppConfig):
    name = "pinpool"
    label = "pinpool"
    verbose_name = "Pinpool"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from pinpool.plugins.registry import entries  # noqa: PLC0415  (apps must be ready first)

        entries()
        checks.register(check_plugins)


def check_plugins(app_configs: Any, **kwargs: Any) -> list[checks.CheckMessage]:  # noqa: ARG001  (Django's signature)
    """A warning for each plug-in that is not active."""
    from pinpool.plugins.registry import entries  # noqa: PLC0415

    return [
        checks.Warning(entry.reason, obj=entry.name, id="pinpool.W001")
        for entry in entries()
        if entry.state != "active"
    ]
