"""Typed readers of the environment. A missing or unreadable value stops the start and says why."""

import os
from pathlib import Path
from typing import Any
from urllib.parse import SplitResult, urlsplit

from django.core.exceptions import ImproperlyConfigured
from psycopg import ProgrammingError
from psycopg.conninfo import conninfo_to_dict


def read_text(name: str) -> str:
    value = os.environ.get(name, "").strip()
    if not value:
        raise ImproperlyConfigured(
            f"{name} is not set. `python3 manage.py up` sets it; elsewhere set it yourself."
        )
    return value


def read_path(name: str) -> Path | None:
    """Return the path that is named, whether something is there or not."""
    value = os.environ.get(name, "").strip()
    return Path(value) if value else None


def read_file(name: str) -> Path | None:
    """Return the file that is named, or nothing where none is."""
    value = os.environ.get(name, "").strip()
    if value and not Path(value).is_file():
        raise ImproperlyConfigured(f"{name} names no file: {value!r}")
    return Path(value) if value else None


def read_url(name: str, *schemes: str) -> SplitResult:
    value = read_text(name)
    parts = urlsplit(value)
    if parts.scheme not in schemes:
        raise ImproperlyConfigured(f"{name} must begin with {' or '.join(schemes)}://: {value!r}")
    return parts


def read_site_url(name: str) -> SplitResult:
    parts = read_url(name, "http", "https")
    if not parts.hostname or parts.path not in ("", "/") or parts.query:
        raise ImproperlyConfigured(f"{name} must be scheme and host only: {parts.geturl()!r}")
    return parts


def read_database(name: str) -> dict[str, Any]:
    """Return Django's entry for the PostgreSQL that a libpq address names."""
    read_url(name, "postgresql", "postgres")
    try:
        known = dict(conninfo_to_dict(read_text(name)))
    except ProgrammingError as fault:
        raise ImproperlyConfigured(f"{name} cannot be read: {fault}") from fault
    named = {"NAME": "dbname", "USER": "user", "PASSWORD": "password", "HOST": "host"}
    entry = {key: str(known.pop(word, "") or "") for key, word in named.items()}
    port = str(known.pop("port", "") or "")
    return {
        "ENGINE": "django.db.backends.postgresql",
        **entry,
        "PORT": port,
        "OPTIONS": {key: value for key, value in known.items() if value is not None},
    }


def pooled(entry: dict[str, Any], name: str) -> dict[str, Any]:
    """Let many threads share so many connections, where the environment says how many."""
    size = os.environ.get(name, "").strip()
    if not size:
        return entry
    if not size.isdecimal() or not 1 <= int(size) <= 90:
        raise ImproperlyConfigured(f"{name} must be a number from 1 to 90: {size!r}")
    pool = {"min_size": 1, "max_size": int(size), "timeout": 20}  # s
    return {**entry, "CONN_MAX_AGE": 0, "OPTIONS": {**entry["OPTIONS"], "pool": pool}}


def celery_spelling(redis_url: str) -> str:
    """Kombu spells a Unix socket `redis+socket://PATH?virtual_host=N`, redis-py `unix://PATH?db=N`."""
    if not redis_url.startswith("unix://"):
        return redis_url
    return redis_url.replace("unix://", "redis+socket://", 1).replace("?db=", "?virtual_host=", 1)
