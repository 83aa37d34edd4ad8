"""Papers, the shared log, and what it teaches, as a Django app."""

from django.apps import AppConfig


class ExposuresConfig(AppConfig):
    name = "exposures"
    label = "pinpool_exposures"
    verbose_name = "Pinpool exposures"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from clubs import closing as closing_of_clubs  # noqa: PLC0415  (models must be loaded first)
        from clubs.web import panels  # noqa: PLC0415
        from exposures import closing, own_data, plugin_checks  # noqa: PLC0415
        from exposures.imports import importer_checks, importers  # noqa: PLC0415
        from exposures.web import camera_panels  # noqa: PLC0415
        from exposures.workshops import own_data as own_data_of_workshops  # noqa: PLC0415
        from pinpool.accounts.own_data import contribute  # noqa: PLC0415
        from pinpool.plugins import checking  # noqa: PLC0415
        from pinpool.web import signing_out  # noqa: PLC0415

        contribute("exposures", own_data.exposures_of, before_deletion=own_data.part_with)
        contribute("pictures", own_data.pictures_of)
        contribute("imports", own_data.imports_of)
        contribute("places", own_data_of_workshops.places_of, before_deletion=own_data_of_workshops.part_with)
        closing_of_clubs.contribute("exposures", closing.part_with, hold=closing.hold)
        checking.contribute("reciprocity_laws", plugin_checks.law)
        checking.contribute(importers.POINT, importer_checks.log_importer)
        panels.contribute("camera", "Latest in its log", camera_panels.latest_logs)
        panels.contribute("camera", "What its log says of the hole", camera_panels.offset)
        panels.contribute("camera", "The next test with it", camera_panels.next_test)
        panels.contribute("club", "Open workshops", camera_panels.open_workshops)
        panels.contribute("club", "Latest in the log", camera_panels.new_logs)
        signing_out.contribute("exposures/sign_out.html")
