"""The Celery app. PostgreSQL is the ledger; what travels here only rings a bell."""

import os
from typing import Any

from celery import Celery
from celery.signals import setup_logging, task_postrun, task_prerun, worker_ready

from config import heartbeat
from config.rooms import room_modules

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

app = Celery("penround")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(lambda: room_modules("tasks"))


@worker_ready.connect
@task_prerun.connect
@task_postrun.connect
def show_life(**_: Any) -> None:
    heartbeat.beat()


@setup_logging.connect
def keep_django_logging(**_: Any) -> None:
    """Celery would replace the log settings; connected, this receiver is asked instead."""
