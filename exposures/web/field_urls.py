"""Routes of the field page, wherever a site mounts them: the worker serves what is below where it stands."""

from django.urls import path

from exposures.web import field

app_name = "field_web"
urlpatterns = [
    path("", field.FieldPage.as_view(), name="page"),
    path("sw.js", field.FieldWorker.as_view(), name="worker"),
    path("app.webmanifest", field.FieldManifest.as_view(), name="manifest"),
]
