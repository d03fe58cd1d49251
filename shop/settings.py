"""Every setting of Bobweight, read from the environment; see README.md for the list."""

from pathlib import Path

import dj_database_url
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from shop import environment, sqlite

BASE_DIR = Path(__file__).resolve().parent.parent
DATA_DIR = environment.folder("DATA_DIR", BASE_DIR / "var")

DEBUG = environment.flag("DEBUG")
SECRET_KEY = environment.secret_key(DATA_DIR)
ALLOWED_HOSTS = environment.names("ALLOWED_HOSTS", "localhost,127.0.0.1,[::1]")
if DEBUG and set(ALLOWED_HOSTS) - {"localhost", "127.0.0.1", "[::1]", "testserver"}:
    raise ImproperlyConfigured("DEBUG=1 with a public ALLOWED_HOSTS: switch DEBUG off.")

# Where people reach the shop; printed in the QR of each paper.
PUBLIC_URL = environment.text("PUBLIC_URL", f"http://localhost:{environment.text('PORT', '8000')}").rstrip(
    "/"
)
BEHIND_TLS = PUBLIC_URL.startswith("https://")
CSRF_TRUSTED_ORIGINS = [PUBLIC_URL]

INSTALLED_APPS = [
    "shop",
    "curves",
    "jobs",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "django_htmx",
    "axes",
    "csp",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "shop.reject_nul.NoNul",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "jobs.papers.seen.OwnWrites",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "shop.urls"
# The menu: route name, words, right; in the order of a working day.
MENU = (
    ("board", "Board", "read"),
    ("new_job", "New job", "open_job"),
    ("search", "Search", "read"),
    ("drawer", "Drawer", "read"),
    ("practice", "Practice", "read"),
    ("customers", "Customers", "read"),
    ("people", "Shop & people", "edit_people"),
)
# What the frame of every page shows besides: where its search leads, and a mark over what is not real.
SEARCH_ROUTE = "search"
TOP_MARK = "jobs/page/_top_mark.html"
WSGI_APPLICATION = "shop.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": False,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "shop.context.shop",
            ],
            "builtins": [
                "django.templatetags.static",
                "shop.templatetags.numbers",
                "shop.templatetags.live",
            ],
            "loaders": [
                (
                    "django.template.loaders.cached.Loader",
                    [
                        "django.template.loaders.filesystem.Loader",
                        "django.template.loaders.app_directories.Loader",
                    ],
                )
            ],
        },
    }
]

# The database: SQLite in the data folder, or PostgreSQL through DATABASE_URL.
DATABASES = {
    "default": dj_database_url.parse(
        environment.text("DATABASE_URL") or f"sqlite:///{DATA_DIR / 'bobweight.sqlite3'}", conn_max_age=60
    )
}
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": "PRAGMA foreign_keys=ON; PRAGMA synchronous=FULL; "
        f"PRAGMA journal_mode={sqlite.journal_mode()};",
    }
    # A file, because the in-memory database locks when two threads share it.
    DATABASES["default"]["TEST"] = {"NAME": str(DATA_DIR / "test.sqlite3")}
else:
    DATABASES["default"]["CONN_HEALTH_CHECKS"] = True
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# People
AUTH_USER_MODEL = "shop.Person"
LOGIN_URL = "login"
LOGIN_REDIRECT_URL = "board"
LOGOUT_REDIRECT_URL = "login"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in (
        "UserAttributeSimilarityValidator",
        "MinimumLengthValidator",
        "CommonPasswordValidator",
        "NumericPasswordValidator",
    )
]
# Wrong passwords slow one name at one address down for a quarter of an hour; nobody is locked out for ever.
AXES_FAILURE_LIMIT = 8
AXES_COOLOFF_TIME = 0.25
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_TEMPLATE = "shop/locked_out.html"
AXES_VERBOSE = False
# The throttle keeps what was sent with a wrong password; these names are kept masked. A form that asks for
# a password under another name belongs here: tests/jobs/page/test_passwords.py finds it.
AXES_SENSITIVE_PARAMETERS = [
    "username",  # where people type their password by mistake
    "password",
    "old_password",
    "new_password1",
    "new_password2",
    "password1",
    "password2",
    "sign-password",
]
SILENCED_SYSTEM_CHECKS = []

# Files
STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
STATICFILES_DIRS = [BASE_DIR / "static"]
STATICFILES_FINDERS = [
    "django.contrib.staticfiles.finders.FileSystemFinder",
    "django.contrib.staticfiles.finders.AppDirectoriesFinder",
    "shop.finders.PlotlyFinder",
]
MEDIA_ROOT = DATA_DIR / "files"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if DEBUG
        else "whitenoise.storage.CompressedManifestStaticFilesStorage"
    },
}
WHITENOISE_USE_FINDERS = DEBUG
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024
FILE_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024

# Language, time and numbers
LANGUAGE_CODE = "en-gb"
USE_I18N = False
USE_TZ = True
TIME_ZONE = environment.text("TIME_ZONE", "UTC")

# What a browser may do. Plotly makes one empty <style> element; its hash is the only one allowed.
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF, "'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='"],
        "img-src": [SELF, "data:", "blob:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
        "base-uri": [NONE],
        "manifest-src": [SELF],
    }
}
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
SESSION_COOKIE_HTTPONLY = True
CSRF_FAILURE_VIEW = "shop.views.error_pages.stale_form"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = BEHIND_TLS
SECURE_SSL_REDIRECT = BEHIND_TLS and environment.flag("TLS_REDIRECT", True)
SECURE_HSTS_SECONDS = 31_536_000 if BEHIND_TLS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = BEHIND_TLS
if BEHIND_TLS:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")

# The queue is a nudge; the row in the database is the truth. Redis with REDIS_URL, else a folder.
REDIS_URL = environment.text("REDIS_URL")
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
if REDIS_URL:
    CELERY_BROKER_URL = REDIS_URL
    CELERY_BROKER_TRANSPORT_OPTIONS = {"visibility_timeout": 300}
else:
    queue = str(environment.folder("QUEUE_DIR", DATA_DIR / "queue"))
    CELERY_BROKER_URL, CELERY_BROKER_TRANSPORT = "localhost", "shop.folder_queue:Transport"
    CELERY_BROKER_TRANSPORT_OPTIONS = {
        "data_folder_in": queue,
        "data_folder_out": queue,
        "control_folder": f"{queue}/control",
    }

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
    "loggers": {"weasyprint.progress": {"level": "WARNING"}},  # else ten lines for each paper
    "root": {"handlers": ["console"], "level": environment.text("LOG_LEVEL", "INFO").upper()},
}
