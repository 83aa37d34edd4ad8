"""The WSGI entry of the stand-alone service."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "pinpool.settings")
application = get_wsgi_application()
