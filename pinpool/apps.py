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
        from pinpool.accounts import own_data  # noqa: PLC0415  (apps must be ready first)
        from pinpool.plugins.registry import entries  # noqa: PLC0415

        own_data.contribute("account", own_data.account_of)
        own_data.contribute("tokens", own_data.tokens_of)
        entries()
        checks.register(check_plugins)
        checks.register(check_cache)
        checks.register(check_place_page)
        checks.register(check_security_contact)
        checks.register(check_sign_in_page)
        checks.register(check_time_zones)


def check_plugins(app_configs: Any, **kwargs: Any) -> list[checks.CheckMessage]:  # noqa: ARG001  (Django's signature)
    """A warning for each plug-in that is not active, or that a slip of the pen keeps from being found."""
    from pinpool.plugins.loading import misnamed  # noqa: PLC0415
    from pinpool.plugins.model import ENTRY_POINT_GROUP  # noqa: PLC0415
    from pinpool.plugins.registry import entries  # noqa: PLC0415

    idle = [entry for entry in entries() if entry.state != "active"]
    hint = f"A plug-in is offered in the group “{ENTRY_POINT_GROUP}”."
    return [
        *(checks.Warning(entry.reason, obj=entry.name, id="pinpool.W001") for entry in idle),
        *(
            checks.Warning(f"Nothing reads the entry-point group “{each.group}”.", hint, each.value, "pinpool.W003")
            for each in misnamed()
        ),
    ]


def check_cache(app_configs: Any, **kwargs: Any) -> list[checks.CheckMessage]:  # noqa: ARG001
    """A word where tries are counted by each worker for itself, or not at all."""
    from django.conf import settings  # noqa: PLC0415

    from pinpool.conf import setting  # noqa: PLC0415

    backend = str(settings.CACHES[setting("CACHE")]["BACKEND"]).rpartition(".")[2]
    if backend not in {"LocMemCache", "DummyCache", "FileBasedCache"}:
        return []
    text = f"Tries of passwords and codes are counted on a {backend}, which several workers do not count on together."
    hint = "Name a cache in the database, in Redis or in Memcached as PINPOOL['CACHE']."
    return [checks.Info(text, hint=hint, id="pinpool.I001")]


def check_place_page(app_configs: Any, **kwargs: Any) -> list[checks.CheckMessage]:  # noqa: ARG001
    """An error where the page that is printed for a workshop's places would be the same for all of them."""
    from pinpool.conf import setting  # noqa: PLC0415

    page = setting("PLACE_PAGE")
    if not page or "{code}" in page:
        return []
    hint = "Write it as https://club.example/place/{code}, or leave it empty for Pinpool's own page."
    return [checks.Error("PINPOOL['PLACE_PAGE'] has no {code} in it.", hint=hint, id="pinpool.E001")]


def check_security_contact(app_configs: Any, **kwargs: Any) -> list[checks.CheckMessage]:  # noqa: ARG001
    """An error where security.txt would name what no program can follow, or hold a line of somebody else's."""
    from pinpool.conf import setting  # noqa: PLC0415

    faults: list[checks.CheckMessage] = []
    for name, starts in (("SECURITY_CONTACT", ("mailto:", "https://")), ("SECURITY_POLICY", ("https://",))):
        value: str = setting(name)
        if value and (not value.startswith(starts) or any(letter.isspace() for letter in value)):
            text = f"PINPOOL['{name}'] is no address that starts with {' or '.join(starts)}."
            faults.append(checks.Error(text, id="pinpool.E003"))
    return faults


def check_sign_in_page(app_configs: Any, **kwargs: Any) -> list[checks.CheckMessage]:  # noqa: ARG001
    """A warning where people would be sent to sign in at an address that leads nowhere."""
    from django.conf import settings  # noqa: PLC0415
    from django.shortcuts import resolve_url  # noqa: PLC0415
    from django.urls import Resolver404, get_script_prefix, resolve  # noqa: PLC0415

    from pinpool.conf import setting  # noqa: PLC0415

    page = resolve_url(setting("SIGN_IN_PAGE") or settings.LOGIN_URL)
    if setting("OWN_ACCOUNTS") or not page.startswith("/"):
        return []
    try:
        resolve("/" + page.partition("?")[0].removeprefix(get_script_prefix()))
    except Resolver404:
        text = f"People sign in at {page}, and there is no such page."
        hint = "Set LOGIN_URL, or PINPOOL['SIGN_IN_PAGE'], or let Pinpool keep accounts by PINPOOL['OWN_ACCOUNTS']."
        return [checks.Warning(text, hint=hint, id="pinpool.W002")]
    return []


def check_time_zones(app_configs: Any, **kwargs: Any) -> list[checks.CheckMessage]:  # noqa: ARG001
    """An error where instants would lose their offset from UTC."""
    from django.conf import settings  # noqa: PLC0415

    if settings.USE_TZ:
        return []
    return [checks.Error("Pinpool keeps instants with their offset from UTC: set USE_TZ = True.", id="pinpool.E002")]
