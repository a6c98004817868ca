"""The service's own web application, with the references' plain views beside it."""

import os

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.benchmarks.sync_settings")

from config.wsgi import application  # noqa: F401 - gunicorn's door
