"""The route below `/api/v1/clubs/` making a club of an archive: before those of one club, or it is taken for one."""

from django.urls import path

from exposures import views_exports

app_name = "exposures_clubs"
urlpatterns = [path("import-archive/", views_exports.ImportArchiveView.as_view(), name="import-archive")]
