"""The route of the darkroom page."""

from django.urls import path

from exposures.web.darkroom import DarkroomPage

app_name = "darkroom_web"
urlpatterns = [path("clubs/<slug:club>/darkroom/", DarkroomPage.as_view(), name="page")]
