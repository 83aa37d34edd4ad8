"""People as a Django app."""

from django.apps import AppConfig


class PeopleConfig(AppConfig):
    name = "people"
    default_auto_field = "django.db.models.AutoField"
