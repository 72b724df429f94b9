"""Settings. They run with no environment at all; .env.example lists what can be set."""

import os
import sys
from pathlib import Path

import dj_database_url
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

try:  # Debian 12 ships a SQLite with a rare WAL-reset bug; this package carries a mended one.
    import pysqlite3

    sys.modules["sqlite3"] = pysqlite3
except ImportError:
    pass

ROOT = Path(__file__).resolve().parent.parent
DATA = Path(os.environ.get("KEYROUND_DATA", ROOT / "var"))
DATA.mkdir(parents=True, exist_ok=True)

DEBUG = os.environ.get("KEYROUND_DEBUG", "1") == "1"
DEFAULT_SECRET = "only-for-development-and-the-demo"  # noqa: S105
SECRET_KEY = os.environ.get("KEYROUND_SECRET_KEY", DEFAULT_SECRET)
if not DEBUG and SECRET_KEY == DEFAULT_SECRET:
    raise ImproperlyConfigured("KEYROUND_DEBUG is off: set KEYROUND_SECRET_KEY to a long random text of your own.")

# The address printed into QR labels, and the hosts this installation answers for.
PUBLIC_URL = os.environ.get("KEYROUND_PUBLIC_URL", "http://localhost:8000").rstrip("/")
ALLOWED_HOSTS = os.environ.get("KEYROUND_HOSTS", "localhost,127.0.0.1,[::1]").split(",")
CSRF_TRUSTED_ORIGINS = [PUBLIC_URL]

# A server of roads that speaks OSRM's table service, for example http://localhost:5000; empty: none is ever asked.
ROAD_SERVER = os.environ.get("KEYROUND_ROAD_SERVER", "").rstrip("/")

INSTALLED_APPS = [
    "machines",
    "locations",
    "routeapp",
    "django.contrib.admin.apps.SimpleAdminConfig",  # only for its log of who did what; no admin pages are served
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "django.forms",
    "django_htmx",
    "template_partials",
    "axes",
    "csp",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.middleware.gzip.GZipMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "routeapp.kit.htmx.VaryMiddleware",
    "routeapp.kit.access.AccessMiddleware",
    "routeapp.team.middleware.BusinessMiddleware",
    "routeapp.team.middleware.StayMiddleware",
    "routeapp.pages.middleware.SizeMiddleware",
    "routeapp.pages.middleware.WordsMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "routeapp.urls"
WSGI_APPLICATION = "routeapp.wsgi.application"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [ROOT / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
            "builtins": ["routeapp.templatetags.keyround", "template_partials.templatetags.partials"],
        },
    }
]

FORM_RENDERER = "django.forms.renderers.TemplatesSetting"  # lets templates/django/forms/ shape every field

DATABASES = {
    "default": dj_database_url.config(
        default=f"sqlite:///{DATA / 'keyround.sqlite3'}", conn_max_age=600, conn_health_checks=True
    )
}
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    DATABASES["default"]["ENGINE"] = "routeapp.kit.sqlite3"
    DATABASES["default"]["OPTIONS"] = {
        "timeout": 20,  # seconds, as kit/sqlite3 waits
        "transaction_mode": "IMMEDIATE",  # Django's default loses most writes when several phones sync at once.
        # FULL: with NORMAL a power cut can lose a visit that the phone has already let go of.
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA temp_store=MEMORY; "
        "PRAGMA journal_size_limit=67108864;",
    }

# Apart, for parts of pages come by the hundred and would push out what takes a second or two to learn. What is kept of
# forecasts is large, and only the newest is ever asked for.
MEMORY = "django.core.cache.backends.locmem.LocMemCache"
CACHES = {
    "default": {"BACKEND": MEMORY, "LOCATION": "pages"},
    "forecasts": {"BACKEND": MEMORY, "LOCATION": "forecasts", "OPTIONS": {"MAX_ENTRIES": 9}},
}

AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "django.contrib.auth.backends.ModelBackend"]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "today"
LOGOUT_REDIRECT_URL = "sign-in"
AXES_FAILURE_LIMIT = 8
AXES_COOLOFF_TIME = 0.25  # hours
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_CLIENT_IP_CALLABLE = "routeapp.kit.senders.address_of"  # else a stranger could lock everybody out by proxy
AXES_LOCKOUT_TEMPLATE = "routeapp/team/locked_out.html"
AXES_RESET_ON_SUCCESS = True
AXES_VERBOSE = False
SILENCED_SYSTEM_CHECKS = ["admin.E410"]

SESSION_COOKIE_AGE = 60 * 60 * 24 * 30  # a phone on the round must not be asked to sign in without a signal
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = PUBLIC_URL.startswith("https://")
SECURE_SSL_REDIRECT = False  # the reverse proxy does this; see DEVELOPERS.md
SECURE_HSTS_SECONDS = 31536000 if PUBLIC_URL.startswith("https://") else 0
SECURE_REFERRER_POLICY = "same-origin"
SECURE_PROXY_SSL_HEADER = (
    ("HTTP_X_FORWARDED_PROTO", "https") if os.environ.get("KEYROUND_BEHIND_PROXY") == "1" else None
)
X_FRAME_OPTIONS = "DENY"
CSRF_FAILURE_VIEW = "routeapp.pages.views_errors.csrf_failed"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:", "blob:"],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "worker-src": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
        "base-uri": [NONE],
    }
}

# A visit brings photos; each one is checked for itself in kit/pictures.py.
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5000
MAX_REQUEST_BYTES = 40 * 1024 * 1024  # a visit with its photos
MAX_FILE_BYTES = 64 * 1024 * 1024  # a spreadsheet of 60 MB and the form around it
FILE_UPLOAD_MAX_MEMORY_SIZE = 1024 * 1024
MEDIA_ROOT = DATA / "media"

# Settlements go to hosts by e-mail once there is a server that takes it.
EMAIL_HOST = os.environ.get("KEYROUND_MAIL_HOST", "")
EMAIL_SECURITY = os.environ.get("KEYROUND_MAIL_SECURITY", "starttls")
EMAIL_USE_TLS, EMAIL_USE_SSL = EMAIL_SECURITY == "starttls", EMAIL_SECURITY == "tls"
EMAIL_PORT = int(os.environ.get("KEYROUND_MAIL_PORT") or {"tls": 465, "starttls": 587}.get(EMAIL_SECURITY, 25))
EMAIL_HOST_USER = os.environ.get("KEYROUND_MAIL_USER", "")
EMAIL_HOST_PASSWORD = os.environ.get("KEYROUND_MAIL_PASSWORD", "")
DEFAULT_FROM_EMAIL = os.environ.get("KEYROUND_MAIL_FROM", "")
EMAIL_TIMEOUT = 10  # seconds; somebody waits for the page

LANGUAGE_CODE = "en"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"

STATIC_URL = "static/"
STATIC_ROOT = DATA / "static"
STATICFILES_DIRS = [ROOT / "static"]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if DEBUG
        else "routeapp.kit.assets.ReleaseStorage"
    },
}
WHITENOISE_USE_FINDERS = DEBUG

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"console": {"class": "logging.StreamHandler"}},
    "root": {"handlers": ["console"], "level": "WARNING"},
}
