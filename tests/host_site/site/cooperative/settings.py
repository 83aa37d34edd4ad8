"""The cooperative's settings: as unlike the stand-alone service's as they can be.

REEDFOLD_WITHOUT     1: the site as it was before the four apps came
REEDFOLD_DATA        the folder for its database and uploads
DATABASE_URL         postgres://user@host:port/name; unset: SQLite
"""

import os
from pathlib import Path
from urllib.parse import urlsplit

HERE = Path(__file__).resolve().parent.parent
DATA = Path(os.environ.get("REEDFOLD_DATA", HERE))
WITHOUT = os.environ.get("REEDFOLD_WITHOUT") == "1"

SECRET_KEY = "invented, and long enough that no check of Django's complains of it"  # noqa: S105
ALLOWED_HOSTS = ["testserver", "127.0.0.1", "localhost"]
DATABASES = {
    "default": {"ENGINE": "django.db.backends.sqlite3", "NAME": DATA / "reedfold.sqlite3", "ATOMIC_REQUESTS": True}
}
if url := urlsplit(os.environ.get("DATABASE_URL", "")).geturl():
    parts = urlsplit(url)
    DATABASES["default"] |= {
        "ENGINE": "django.db.backends.postgresql",
        "NAME": parts.path.lstrip("/"),
        "USER": parts.username or "",
        "PASSWORD": parts.password or "",
        "HOST": parts.hostname or "",
        "PORT": str(parts.port or ""),
    }
DEFAULT_AUTO_FIELD = "django.db.models.AutoField"

INSTALLED_APPS = [
    "people",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.messages",
    "django.contrib.sessions",
    "django.contrib.staticfiles",
    "rest_framework",
]
if not WITHOUT:
    INSTALLED_APPS += ["pinpool", "optics", "clubs", "exposures"]
    PINPOOL = {
        "BASE_TEMPLATE": "cooperative/pinhole.html",
        "STYLESHEETS": ["cooperative/pinhole.css"],
        "SITE_NAME": "Reedfold",
    }
MIDDLEWARE = [
    "cooperative.middleware.counted",
    "django.middleware.security.SecurityMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]
ROOT_URLCONF = "cooperative.urls"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [HERE / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "cooperative.middleware.tides",
            ]
        },
    }
]
STATIC_URL = "/assets/"
STATICFILES_DIRS = [HERE / "static"]
MEDIA_ROOT = DATA / "uploads"

AUTH_USER_MODEL = "people.Person"
LOGIN_URL = "people:enter"
LOGIN_REDIRECT_URL = "front"
SESSION_COOKIE_NAME = "reedfold_session"
CSRF_COOKIE_NAME = "reedfold_csrf"
CSRF_USE_SESSIONS = True
CSRF_HEADER_NAME = "HTTP_X_REEDFOLD"
APPEND_SLASH = False

LANGUAGE_CODE = "nl"
LANGUAGES = [("nl", "Nederlands")]
TIME_ZONE = "America/St_Johns"
USE_TZ = True
USE_THOUSAND_SEPARATOR = True

REST_FRAMEWORK = {
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.FormParser"],
    "DEFAULT_AUTHENTICATION_CLASSES": ["rest_framework.authentication.BasicAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAdminUser"],
    "DEFAULT_THROTTLE_CLASSES": ["rest_framework.throttling.AnonRateThrottle"],
    "DEFAULT_THROTTLE_RATES": {"anon": "2/day"},
    "DEFAULT_VERSIONING_CLASS": "rest_framework.versioning.AcceptHeaderVersioning",
    "DEFAULT_PAGINATION_CLASS": "rest_framework.pagination.LimitOffsetPagination",
    "EXCEPTION_HANDLER": "cooperative.api.refused",
    "COERCE_DECIMAL_TO_STRING": False,
    "DATETIME_FORMAT": "%d.%m.%Y",
    "PAGE_SIZE": 1,
}
