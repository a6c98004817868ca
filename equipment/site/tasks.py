"""Celery's doors to the runs: bare ticks, and the doorbell."""

from datetime import UTC, datetime

from celery import shared_task

from . import runs
from .models import TaskRun


@shared_task(ignore_result=True)
def tick() -> None:
    now = datetime.now(UTC)
    runs.plan_periodic(now=now)
    runs.poll(now=now)


@shared_task(ignore_result=True)
def slow_tick() -> None:
    runs.poll_slow(now=datetime.now(UTC))


@shared_task(ignore_result=True)
def run(kind: str, key: str) -> None:
    run_id = TaskRun.objects.filter(kind=kind, dedupe_key=key).values_list("id", flat=True).first()
    if run_id is not None:
        runs.perform(run_id)
