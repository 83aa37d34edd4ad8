"""Routes below `/api/v1/clubs/`."""

from django.urls import path

from clubs import views, views_cameras, views_designs, views_people, views_photos, views_sheets, views_trail

app_name = "clubs"
urlpatterns = [
    path("", views.ClubsView.as_view(), name="clubs"),
    path("<slug:club>/", views.OneClubView.as_view(), name="club"),
    path("<slug:club>/members/", views_people.MembersView.as_view(), name="members"),
    path("<slug:club>/members/<int:number>/", views_people.MemberView.as_view(), name="member"),
    path("<slug:club>/membership/", views_people.MembershipView.as_view(), name="membership"),
    path("<slug:club>/invitations/", views_people.InvitationsView.as_view(), name="invitations"),
    path("<slug:club>/invitations/<int:number>/", views_people.InvitationView.as_view(), name="invitation"),
    path("<slug:club>/trail/", views_trail.TrailView.as_view(), name="trail"),
    path("<slug:club>/cameras/", views_cameras.CamerasView.as_view(), name="cameras"),
    path("<slug:club>/cameras/<slug:code>/", views_cameras.CameraView.as_view(), name="camera"),
    path("<slug:club>/cameras/<slug:code>/loan/", views_cameras.LoanView.as_view(), name="loan"),
    path("<slug:club>/cameras/<slug:code>/photos/", views_photos.PhotosView.as_view(), name="photos"),
    path(
        "<slug:club>/cameras/<slug:code>/photos/<uuid:id>/image/",
        views_photos.PhotoImageView.as_view(),
        name="photo_image",
    ),
    path("<slug:club>/cameras/<slug:code>/photos/<uuid:id>/", views_photos.PhotoView.as_view(), name="photo"),
    path("<slug:club>/cameras/<slug:code>/sheets/", views_sheets.CameraSheetsView.as_view(), name="camera_sheets"),
    path("<slug:club>/cameras/<slug:code>/specs/", views_cameras.SpecsView.as_view(), name="specs"),
    path("<slug:club>/cameras/<slug:code>/specs/<int:number>/", views_cameras.SpecView.as_view(), name="spec"),
    path(
        "<slug:club>/cameras/<slug:code>/specs/<int:number>/difference/",
        views_cameras.DifferenceView.as_view(),
        name="difference",
    ),
    path("<slug:club>/designs/", views_designs.DesignsView.as_view(), name="designs"),
    path("<slug:club>/designs/<int:number>/", views_designs.DesignView.as_view(), name="design"),
    path("<slug:club>/designs/<int:number>/sheets/", views_designs.DesignSheetsView.as_view(), name="design_sheets"),
    path("<slug:club>/sheets/", views_sheets.SheetsView.as_view(), name="sheets"),
    path("<slug:club>/sheets/<uuid:id>/", views_sheets.SheetView.as_view(), name="sheet"),
    path("<slug:club>/sheets/<uuid:id>/pdf/", views_sheets.SheetPDFView.as_view(), name="sheet_pdf"),
    path("<slug:club>/sheets/<uuid:id>/pages/<int:number>/", views_sheets.SheetPageView.as_view(), name="sheet_page"),
]
