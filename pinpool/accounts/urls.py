"""Routes below `/api/v1/accounts/`."""

from django.urls import path

from pinpool.accounts import views

app_name = "accounts"
urlpatterns = [
    path("login/", views.LogInView.as_view(), name="log-in"),
    path("logout/", views.LogOutView.as_view(), name="log-out"),
    path("me/", views.MeView.as_view(), name="me"),
    path("me/data/", views.OwnDataView.as_view(), name="own-data"),
    path("me/deletion/", views.DeletionView.as_view(), name="deletion"),
    path("password/", views.PasswordView.as_view(), name="password"),
    path("password-reset/", views.ResetView.as_view(), name="reset"),
    path("password-reset/confirm/", views.ResetCodeView.as_view(), name="reset-code"),
    path("tokens/", views.TokensView.as_view(), name="tokens"),
    path("tokens/<int:number>/", views.TokenView.as_view(), name="token"),
]
