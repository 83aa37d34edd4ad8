"""The apps in the barest of sites: no middleware, no sessions, no context processors, and API defaults unlike ours.

A whole site that they come into as a wheel is tests/host_site/.
"""

import subprocess
import sys

SITE = """
import sys, types, warnings
warnings.simplefilter("error")
import django
from django.conf import settings
from django.urls import include, path

settings.configure(
    SECRET_KEY="invented",
    ALLOWED_HOSTS=["testserver"],
    DATABASES={"default": {"ENGINE": "django.db.backends.sqlite3", "NAME": ":memory:"}},
    DEFAULT_AUTO_FIELD="django.db.models.AutoField",
    USE_TZ=True,
    LOGIN_URL="https://door.saltmarsh.example/enter/",
    INSTALLED_APPS=["django.contrib.auth", "django.contrib.contenttypes", "django.contrib.staticfiles",
                    "pinpool", "optics", "clubs", "exposures"],
    TEMPLATES=[{"BACKEND": "django.template.backends.django.DjangoTemplates", "APP_DIRS": True}],
    STATIC_URL="/s/",
    ROOT_URLCONF="host_urls",
    REST_FRAMEWORK={
        "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.StaticHTMLRenderer"],
        "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.FormParser"],
        "DEFAULT_AUTHENTICATION_CLASSES": [],
        "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAdminUser"],
        "DEFAULT_THROTTLE_CLASSES": ["rest_framework.throttling.AnonRateThrottle"],
        "DEFAULT_THROTTLE_RATES": {"anon": "1/day"},
        "DEFAULT_VERSIONING_CLASS": "rest_framework.versioning.AcceptHeaderVersioning",
        "EXCEPTION_HANDLER": "nowhere.handler",
    },
)
django.setup()
urls = types.ModuleType("host_urls")
urls.urlpatterns = [path("pinhole/", include("pinpool.mounted"))]
sys.modules["host_urls"] = urls

from django.core.management import call_command
from django.db import connection
from rest_framework.test import APIClient
from django.contrib.auth import get_user_model

call_command("check", fail_level="WARNING")
call_command("makemigrations", check=True, dry_run=True, verbosity=0)
call_command("migrate", verbosity=0)
client = APIClient()
body = {"focal_length": "70 mm", "diameter": "0.31 mm"}
for _ in range(3):
    answer = client.post("/pinhole/api/v1/optics/f-number/", body, format="json")
    assert answer.status_code == 200, answer.content
assert round(answer.json()["f_number"]) == 226
refusal = client.post("/pinhole/api/v1/optics/f-number/", {}, format="json")
assert refusal["Content-Type"] == "application/problem+json", refusal.content
assert b"/pinhole/api/v1/optics/f-number/" in client.get("/pinhole/api/v1/schema/").content
assert client.get("/pinhole/api/v1/docs/").status_code == 200
assert b"https://door.saltmarsh.example/enter/?next=" in client.get("/pinhole/").content
assert client.get("/pinhole/account/")["Location"] == "https://door.saltmarsh.example/enter/?next=%2Fpinhole%2Faccount%2F"
assert client.get("/pinhole/sign-in/").status_code == 404
assert "pinpool_cache" not in connection.introspection.table_names()  # the site's own cache counts
by_password = {"username": "a", "password": "b"}
assert client.post("/pinhole/api/v1/accounts/login/", by_password, format="json").status_code == 404
settings.PINPOOL = {"OWN_ACCOUNTS": True}
assert client.get("/pinhole/account/")["Location"] == "/pinhole/sign-in/?next=%2Fpinhole%2Faccount%2F"
no_sessions = client.post("/pinhole/api/v1/accounts/login/", by_password, format="json")
assert no_sessions.status_code == 409, no_sessions.content
client.force_authenticate(get_user_model().objects.create(username="host"))
assert client.get("/pinhole/api/v1/accounts/me/data/").status_code == 200
made = client.post("/pinhole/api/v1/clubs/", {"slug": "creek", "name": "Creek (invented)"}, format="json")
assert made.status_code == 201, made.content
print("host site works")
"""


def test_a_host_site_with_other_defaults_is_served_and_left_alone() -> None:
    ran = subprocess.run([sys.executable, "-c", SITE], capture_output=True, text=True, timeout=60, check=False)
    assert ran.stdout.strip().endswith("host site works"), ran.stderr[-3000:]
