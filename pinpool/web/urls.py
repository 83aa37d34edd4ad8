"""Routes of the ground floor's pages."""

from django.urls import path

from pinpool.web import views

app_name = "pinpool_web"
urlpatterns = [
    path("", views.HomePage.as_view(), name="home"),
    path("sign-in/", views.SignInPage.as_view(), name="sign_in"),
    path("sign-in/forgotten/", views.ForgottenPage.as_view(), name="forgotten"),
    path("reset/", views.ResetPage.as_view(), name="reset"),
    path("reset/<str:code>/", views.ResetPage.as_view(), name="reset"),
    path("within.css", views.within, name="within"),
    path("account/", views.AccountPage.as_view(), name="account"),
]
