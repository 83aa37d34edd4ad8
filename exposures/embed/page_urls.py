"""Routes of the script that other web pages load, of public pages that show the same, and of the keeper's switches."""

from django.urls import path

from exposures.embed import pages

app_name = "embed_web"
urlpatterns = [
    path("embed/<str:version>.js", pages.ScriptFile.as_view(), name="script"),
    path("embed/<slug:club>/", pages.PublicClubPage.as_view(), name="club"),
    path("embed/<slug:club>/cameras/", pages.PublicRegistryPage.as_view(), name="cameras"),
    path("embed/<slug:club>/cameras/<slug:code>/", pages.PublicCameraPage.as_view(), name="camera"),
    path("embed/<slug:club>/papers/<uuid:id>/", pages.PublicPaperPage.as_view(), name="paper"),
    path("clubs/<slug:club>/embed/", pages.SwitchesPage.as_view(), name="switches"),
]
