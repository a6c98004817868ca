"""Pytest plug-in: a real PostgreSQL and Valkey for the session, in a folder that goes away.

Loaded by `-p`, because pytest-django reads the settings before any conftest.py.
"""

import atexit
import os
import shutil
import tempfile
from pathlib import Path

import pytest

# Before `config` is imported: its Celery app names the settings of the running service.
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings_test")

from config.stores import TestStores


@pytest.hookimpl(tryfirst=True)
def pytest_load_initial_conftests() -> None:
    """Start what the environment does not name; workers of xdist inherit it."""
    if "TEST_SESSION" in os.environ:
        return
    root = Path(tempfile.mkdtemp(prefix="penround-test-"))
    root.chmod(0o711)
    atexit.register(shutil.rmtree, root)
    static = root / "static"  # whitenoise warns where there is none
    static.mkdir()
    os.environ |= {"TEST_SESSION": str(root), "STATIC_ROOT": str(static)}
    if not {"DATABASE_URL", "REDIS_URL"} <= os.environ.keys():
        stores = TestStores(root)
        atexit.register(stores.stop)  # runs first; pytest_unconfigure would miss an error at start
        os.environ.setdefault("DATABASE_URL", stores.places.database_url)
        os.environ.setdefault("REDIS_URL", stores.places.redis_url)
