"""Routes of a site that has us below an address, and no page for every other."""

from django.contrib import admin
from django.urls import include, path

urlpatterns = [path("admin/", admin.site.urls), path("", include("pinpool.mounted"))]
