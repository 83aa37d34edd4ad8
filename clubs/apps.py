"""Clubs, members, cameras and their specs, as a Django app."""

from django.apps import AppConfig


class ClubsConfig(AppConfig):
    name = "clubs"
    label = "pinpool_clubs"
    verbose_name = "Pinpool clubs"
    default_auto_field = "django.db.models.BigAutoField"
