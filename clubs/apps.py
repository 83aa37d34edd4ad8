"""Clubs, members, cameras and their specs, as a Django app."""

from django.apps import AppConfig


class ClubsConfig(AppConfig):
    name = "clubs"
    label = "pinpool_clubs"
    verbose_name = "Pinpool clubs"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from clubs import members, own_data  # noqa: PLC0415  (models must be loaded first)
        from clubs.sheets import plugin_checks  # noqa: PLC0415
        from pinpool.accounts.own_data import contribute  # noqa: PLC0415
        from pinpool.plugins import checking  # noqa: PLC0415

        contribute("memberships", own_data.memberships_of, before_deletion=members.part_with)
        contribute("cameras", own_data.cameras_of)
        contribute("specs", own_data.specs_of)
        contribute("designs", own_data.designs_of)
        contribute("photos", own_data.photos_of)
        contribute("sheets", own_data.sheets_of)
        contribute("changes", own_data.changes_of)
        checking.contribute("sheet_sections", plugin_checks.sheet_section)
