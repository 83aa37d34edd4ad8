"""What the author of a plug-in runs on it, in a test of their own or by hand:

    from pinpool.testing import assert_sound

    def test_it_is_sound():
        assert_sound(plugin, {"tilted": [{"width": "9 cm", "height": "60 mm", "distance": "70 mm", "tilt": "20 deg"}]})

Examples are bodies by the name of the contribution they are for, as a caller of the API writes them, without the key
that names it; a name that two points share is told apart as `film_planes.tilted`. The plug-in is loaded beside those
that come with the service and called through the same door, with the same time to answer. Nothing of this needs a
database, unless the plug-in itself reads one.
"""

import os
from collections.abc import Mapping, Sequence
from typing import Any

import django
from django.apps import apps
from django.conf import settings

__all__ = ["assert_sound", "faults_of"]


def faults_of(plugin: Any, examples: Mapping[str, Sequence[Mapping[str, Any]]]) -> list[str]:
    """A sentence for each thing that is not sound: it names the contribution and says what to change."""
    _get_ready()
    from pinpool.plugins import checking  # noqa: PLC0415  (apps must be ready first)

    return checking.faults_of(plugin, examples)


def assert_sound(plugin: Any, examples: Mapping[str, Sequence[Mapping[str, Any]]]) -> None:
    """Raise an `AssertionError` with every fault."""
    found = faults_of(plugin, examples)
    if found:
        raise AssertionError("\n".join(found))


def _get_ready() -> None:
    """Set Django up where nobody has: with the settings named, or with the least that our apps need."""
    if apps.ready:
        return
    if not settings.configured and "DJANGO_SETTINGS_MODULE" not in os.environ:
        settings.configure(
            INSTALLED_APPS=[
                "django.contrib.auth", "django.contrib.contenttypes", "rest_framework",
                "pinpool", "optics", "clubs", "exposures",
            ],
            DATABASES={"default": {"ENGINE": "django.db.backends.sqlite3", "NAME": ":memory:"}},
            SECRET_KEY="for checks alone",  # noqa: S106
            USE_TZ=True,
        )  # fmt: skip
    django.setup()
