"""Settings of tests and of commands that only read the code: importable without any server."""

import os

os.environ.setdefault("SECRET_KEY", "for-tests-only-" + "x" * 50)
os.environ.setdefault("DATABASE_URL", "postgresql://app@/app?host=/nonexistent")
os.environ.setdefault("REDIS_URL", "unix:///nonexistent/valkey.sock?db=0")
os.environ.setdefault("SITE_URL", "http://localhost:8000")

from config.env import celery_spelling
from config.settings import *  # noqa: F403
from config.settings import CACHES, REDIS_URL

ALLOWED_HOSTS = ["localhost", "127.0.0.1", "testserver"]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # fast, worthless elsewhere
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.InMemoryStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}

# Each test process has its own pair of Valkey databases: broker, cache.
_number = 2 * int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw"))
_base = REDIS_URL.rsplit("?", 1)[0]
CELERY_BROKER_URL = celery_spelling(f"{_base}?db={_number}")
CACHES = {"default": {**CACHES["default"], "LOCATION": f"{_base}?db={_number + 1}"}}
