"""Settings of tests and of commands that only read the code: importable without any server."""

import os

os.environ.setdefault("SECRET_KEY", "for-tests-only-" + "x" * 50)
os.environ.setdefault("DATABASE_URL", "postgresql://app@/app?host=/nonexistent")
os.environ.setdefault("REDIS_URL", "unix:///nonexistent/valkey.sock?db=0")
os.environ.setdefault("SITE_URL", "http://localhost:8000")

from config.env import celery_spelling
from config.settings import *  # noqa: F403
from config.settings import REDIS_URL

ALLOWED_HOSTS = ["localhost", "127.0.0.1", "testserver"]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # fast, worthless elsewhere
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.InMemoryStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}

# Each test process has its own Valkey database.
_number = int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw"))
CELERY_BROKER_URL = celery_spelling(f"{REDIS_URL.rsplit('?', 1)[0]}?db={_number}")
