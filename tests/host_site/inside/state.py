"""What is in force in the cooperative's site, as JSON: run with it and without Pinpool, to see what differs."""

import json
import os
import re
import sys
import warnings
from importlib import import_module
from typing import Any

import django
from django.conf import settings
from django.contrib import admin
from django.contrib.auth import get_user_model
from django.contrib.auth import signals as of_accounts
from django.contrib.staticfiles.finders import get_finders
from django.core import checks, signals
from django.core.management import get_commands
from django.db import connections
from django.db.models import signals as of_models
from django.dispatch import Signal
from django.template import engines
from django.urls import get_resolver, reverse
from rest_framework.settings import DEFAULTS, api_settings

django.setup()
import_module("django.core.handlers.base")  # it listens to a signal as soon as anything is served


def named(receiver: Any) -> str:
    """A signal's receiver by its name; a weak reference is followed."""
    function = receiver() if hasattr(receiver, "__callback__") else receiver
    return f"{function.__module__}.{getattr(function, '__qualname__', type(function).__qualname__)}"


def receivers() -> dict[str, list[str]]:
    """Who listens to each of Django's signals."""
    found = {}
    for module in (signals, of_models, of_accounts):
        for name, signal in vars(module).items():
            if isinstance(signal, Signal):
                found[name] = sorted(named(receiver[1]) for receiver in signal.receivers)
    return found


def static_names() -> list[str]:
    return sorted({name for finder in get_finders() for name, _ in finder.list([])})


warnings.simplefilter("ignore")  # some settings are deprecated on some Django, whoever reads them
person = get_user_model()
state = {
    "settings": {name: repr(getattr(settings, name)) for name in dir(settings) if name.isupper()},
    "drf": {name: repr(getattr(api_settings, name)) for name in DEFAULTS},
    "receivers": receivers(),
    "hosts_admin": sorted(model._meta.label for model in admin.site._registry if model is person or "pinpool" not in
                          model._meta.app_label),
    "person": sorted(field.name for field in person._meta.get_fields()),
    "person_model": f"{person.__mro__} {person._meta.managers} {person._meta.permissions}",
    "routes": {name: reverse(name) for name in ("front", "bundles", "open-bundles", "people:enter", "admin:index")},
    "namespaces": sorted(get_resolver().namespace_dict),
    "bare_names": sorted(name for name in get_resolver().reverse_dict if isinstance(name, str)),
    "checks": sorted(f"{each.id}" for each in checks.run_checks()),
    "commands": {name: str(app) for name, app in get_commands().items()},
    "statics": static_names(),
    "template_folders": [str(each) for engine in engines.all() for each in engine.dirs],
    "tag_libraries": sorted(engines["django"].engine.libraries),
    "databases": sorted(connections),
    "environment": sorted(name for name in os.environ if not name.startswith("REEDFOLD")),
    "hooks": [repr(sys.excepthook), repr(sys.unraisablehook), str(sys.getrecursionlimit())],
}  # fmt: skip
print(re.sub(" at 0x[0-9a-f]+", "", json.dumps(state)))  # noqa: T201
