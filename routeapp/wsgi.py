"""The WSGI application that the web server runs."""

import gc
import os
import sys

from django.conf import settings
from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "routeapp.settings")
if not settings.DEBUG and not (settings.STATIC_ROOT / "staticfiles.json").exists():
    sys.exit("No page can be shown before its style and scripts are collected: manage.py collectstatic --no-input")
application = get_wsgi_application()
gc.set_threshold(10_000)  # with the usual 700, looking for garbage takes a sixth of what many rows at once take
