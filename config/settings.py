"""Settings from the environment: DATABASE_URL, REDIS_URL, SECRET_KEY, SITE_URL. No debug mode."""

import os
from pathlib import Path
from typing import Any

from config import compiled_code, env
from config.rooms import APPS, BASE_DIR, room_folders

compiled_code.choose_folder()  # before any room is imported

# What differs from machine to machine -----------------------------------------------------------
SECRET_KEY = env.read_text("SECRET_KEY")
DATABASES: dict[str, Any] = {
    "default": env.pooled(
        {**env.read_database("DATABASE_URL"), "CONN_MAX_AGE": 60, "CONN_HEALTH_CHECKS": True},
        "DATABASE_POOL",
    )
}
env.read_url("REDIS_URL", "redis", "rediss", "unix")
REDIS_URL = env.read_text("REDIS_URL")
SITE_URL = env.read_site_url("SITE_URL")
STATIC_ROOT = Path(os.environ.get("STATIC_ROOT", BASE_DIR / "var" / "static"))
MEDIA_ROOT = Path(os.environ.get("MEDIA_ROOT", BASE_DIR / "var" / "media"))  # photos, voice notes
# What the Status page looks at: where `up` keeps all, and what it speaks TLS with, if it does
DATA_ROOT = env.read_path("DATA_ROOT")
TLS_CERTIFICATE = env.read_path("TLS_CERTIFICATE")

# Nudges to phones (RFC 8030): off without a key
PUSH_KEY = env.read_file("PUSH_KEY")  # PEM of a P-256 private key (RFC 8292)
PUSH_CONTACT = env.read_text("PUSH_CONTACT") if PUSH_KEY else ""  # e-mail of who runs this
PUSH_HOSTS = os.environ.get("PUSH_HOSTS", "").split()  # host:port that may be private

# One address sets hosts, origins, cookies and proxy trust ---------------------------------------
SITE_HOST = SITE_URL.hostname or ""
LOOPBACK = ["localhost", "127.0.0.1", "[::1]"]
ALLOWED_HOSTS = LOOPBACK if SITE_HOST in {"localhost", "127.0.0.1", "::1"} else [SITE_HOST]
CSRF_TRUSTED_ORIGINS = [f"{SITE_URL.scheme}://{SITE_URL.netloc}"]
SERVED_BY_TLS = SITE_URL.scheme == "https"
SECURE_SSL_REDIRECT = SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SERVED_BY_TLS
# Believed only under TLS: there the proxy that ends TLS stands in front and sets the header.
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if SERVED_BY_TLS else None
SECURE_HSTS_SECONDS = 365 * 24 * 3600 if SERVED_BY_TLS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = SERVED_BY_TLS
SECURE_REFERRER_POLICY = "same-origin"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
X_FRAME_OPTIONS = "DENY"
CSRF_FAILURE_VIEW = "config.api_errors.csrf_failure"

# The house --------------------------------------------------------------------------------------
INSTALLED_APPS = [
    *APPS,
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.postgres",
    "rest_framework",
    "drf_spectacular",
    "drf_spectacular_sidecar",
]
MIDDLEWARE = [
    "config.health.HealthMiddleware",  # first: answers without Host check, TLS redirect, session
    "django.middleware.security.SecurityMiddleware",
    "config.middleware.ContentSecurityPolicyMiddleware",
    "config.api_conditional.ConditionalApiMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]
ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "config" / "templates", *room_folders("templates")],
        "APP_DIRS": True,  # for the packages' own; ours lie in the rooms
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.template.context_processors.i18n",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ]
        },
    }
]
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
AUTH_USER_MODEL = "equipment.User"
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in (
        "UserAttributeSimilarityValidator",
        "MinimumLengthValidator",
        "CommonPasswordValidator",
        "NumericPasswordValidator",
    )
]
LOGIN_URL = "/sign-in/"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = LOGIN_URL
SESSION_ENGINE = "django.contrib.sessions.backends.db"

# Language, numbers, time ------------------------------------------------------------------------
USE_TZ = True
TIME_ZONE = "UTC"
USE_I18N = True
LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English"), ("es", "Español")]
LOCALE_PATHS = [BASE_DIR / "config" / "locale"]
FORMAT_MODULE_PATH = "config.formats"

# Log: one line each; whoever runs the process adds the clock --------------------------------------
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "%(levelname)s %(name)s: %(message)s"}},
    "filters": {"short": {"()": "config.log.ShortBrokerNews"}},
    "handlers": {
        "console": {
            "class": "logging.StreamHandler",
            "formatter": "line",
            "filters": ["short"],
        }
    },
    "root": {"handlers": ["console"], "level": "WARNING"},
    "loggers": {
        **{name: {"level": "INFO"} for name in (*APPS, "config", "celery.worker")},
        "celery.worker.strategy": {"level": "WARNING"},  # else a line for each tick
        "django": {"handlers": [], "level": "WARNING"},
    },
}

# Files ------------------------------------------------------------------------------------------
STATIC_URL = "/static/"
STATICFILES_DIRS = room_folders("static")
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}

# The API: closed unless opened, JSON only -------------------------------------------------------
REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "crews.devices.auth.PhoneAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["config.api_parser.StrictJSONParser"],
    "DEFAULT_METADATA_CLASS": None,
    "DEFAULT_PAGINATION_CLASS": "config.api_pages.CursorPages",
    "DEFAULT_SCHEMA_CLASS": "config.api_schema.RoomSchema",
    "EXCEPTION_HANDLER": "config.api_errors.problem_handler",
    "COERCE_DECIMAL_TO_STRING": False,
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Penround",
    "DESCRIPTION": "Crews, sand, water and machines of a large freestall dairy.",
    "VERSION": "1",
    "OAS_VERSION": "3.1.1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "COMPONENT_SPLIT_REQUEST": True,
    "PATH_CONVERTER_OVERRIDES": {
        "key": {"type": "integer", "minimum": 1, "maximum": 999_999_999_999_999_999}
    },
    "ENUM_NAME_OVERRIDES": {
        "PlaceKind": "equipment.site.models.PlaceKind",
        "PenKind": "equipment.barns.models.PenKind",
        "MachineKind": "equipment.machines.models.MachineKind",
        "AccountKind": "schedules.sand.models.AccountKind",
        "CalendarKind": "schedules.calendars.models.CalendarKind",
        "RosterState": "crews.roster.models.RosterState",
        "SwapState": "crews.roster.models.SwapState",
        "WorkStatus": "schedules.work.models.Status",
    },
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "config.api_schema.add_errors",
        "config.api_examples.add_examples",
    ],
}

# Celery: a doorbell. No eta, countdown or delayed retry: a due time is a column ------------------
CELERY_BROKER_URL = env.celery_spelling(REDIS_URL)
CELERY_TIMEZONE = "UTC"
CELERY_ACCEPT_CONTENT = ["json"]
CELERY_TASK_SERIALIZER = "json"
CELERY_TASK_IGNORE_RESULT = True  # what came of a task stands in its row
CELERY_TASK_DEFAULT_QUEUE = "produce"
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_TASK_SOFT_TIME_LIMIT = 270  # s
CELERY_TASK_TIME_LIMIT = 300  # s
CELERY_TASK_PUBLISH_RETRY = False  # a bell that did not ring is let go: the poller is the floor
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_WORKER_SOFT_SHUTDOWN_TIMEOUT = 10  # s
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_CONNECTION_MAX_RETRIES = None  # for ever
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "visibility_timeout": 900,  # s, more than twice the hard time limit
    "socket_timeout": 0.5,  # s
    "socket_connect_timeout": 0.5,  # s
    "max_retries": 0,  # of a sender; else a request waits 7 s for a dead broker
}
CELERY_BEAT_SCHEDULE = {
    "tick": {
        "task": "equipment.site.tasks.tick",
        "schedule": 5.0,  # s
        # A worker that was away finds the last ticks only, not an hour of them.
        "options": {"queue": "produce", "expires": 10.0},
    },
    "slow tick": {
        "task": "equipment.site.tasks.slow_tick",
        "schedule": 5.0,  # s
        "options": {"queue": "solve", "expires": 10.0},
    },
}
