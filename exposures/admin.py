"""The keeper's desk: papers and the log, to read; what changes them must keep the evidence in step."""

from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest

from clubs.admin import ReadOnlyAdmin
from exposures.models import ExposureLog, Paper


@admin.register(Paper)
class PaperAdmin(ReadOnlyAdmin):
    list_display = ("name", "family", "nominal_exposure_index", "club")
    list_filter = ("club", "family")
    search_fields = ("name",)


@admin.register(ExposureLog)
class ExposureLogAdmin(ReadOnlyAdmin):
    list_display = ("taken_at", "spec", "paper", "exposure_time_s", "result_stops", "member", "person")
    list_filter = ("club", "paper")
    date_hierarchy = "taken_at"

    def get_queryset(self, request: HttpRequest) -> QuerySet:
        """Private entries are their author's alone."""
        return super().get_queryset(request).filter(private=False)
