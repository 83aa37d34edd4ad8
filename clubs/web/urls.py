"""Routes of the pages of clubs."""

from django.urls import path

from clubs.web import cameras, clubs, designs, members, sheets, trail

app_name = "clubs_web"
urlpatterns = [
    path("clubs/", clubs.ClubsPage.as_view(), name="clubs"),
    path("clubs/<slug:club>/", clubs.StartPage.as_view(), name="club"),
    path("clubs/<slug:club>/cameras/", cameras.CamerasPage.as_view(), name="cameras"),
    path("clubs/<slug:club>/cameras/<slug:code>/", cameras.CameraPage.as_view(), name="camera"),
    path("clubs/<slug:club>/designs/", designs.DesignsPage.as_view(), name="designs"),
    path("clubs/<slug:club>/designs/<int:number>/", designs.DesignPage.as_view(), name="design"),
    path("clubs/<slug:club>/sheets/", sheets.SheetsPage.as_view(), name="sheets"),
    path("clubs/<slug:club>/members/", members.MembersPage.as_view(), name="members"),
    path("clubs/<slug:club>/trail/", trail.TrailPage.as_view(), name="trail"),
    # Last: a club may be called “join”, and no code is a word of the routes above.
    path("clubs/join/<slug:code>/", clubs.JoinPage.as_view(), name="join"),
]
