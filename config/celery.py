"""The Celery app. PostgreSQL is the ledger; what travels here only rings a bell."""

import os

from celery import Celery

from config.rooms import room_modules

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

app = Celery("penround")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(lambda: room_modules("tasks"))
