"""Looks every minute, and every quarter of an hour at what moves slowly."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from equipment.site.models import TaskRun
from equipment.site.runs import run_kind

from .found import Answer
from .looks import QUICK, SLOW, Look, answers_to
from .models import Alert, AlertKind
from .services import ANSWER, found_again, keep, write_answers


def _look(run: TaskRun, looks: dict[AlertKind, Look]) -> None:
    """Look and keep kind by kind; one that fails keeps no other from being looked at."""
    assert run.site_id is not None
    now, failed = datetime.now(UTC), []
    for kind, look in looks.items():
        try:
            keep(site_id=run.site_id, kinds=(kind,), found=look(run.site_id, now), at=now)
        except Exception as error:
            failed.append(error)
    if failed:
        raise ExceptionGroup("looks that failed", failed)


def look_soon(run: TaskRun) -> None:
    """Look outside of the run's transaction at what moves within hours."""
    _look(run, QUICK)


def look_ahead(run: TaskRun) -> None:
    """Look outside of the run's transaction at what moves within days."""
    _look(run, SLOW)


@run_kind("alerts.look", prepare=look_soon, every=timedelta(minutes=1))
def looked_soon(_run: TaskRun, _prepared: None) -> None:
    """Nothing is left to do: each kind was kept by itself."""


@run_kind("alerts.look_ahead", queue="forecast", prepare=look_ahead, every=timedelta(minutes=15))
def looked_ahead(_run: TaskRun, _prepared: None) -> None:
    """Nothing is left to do."""


def reckon(run: TaskRun) -> list[Answer] | None:
    """Reckon the answers outside of any transaction; None where they are not asked for any more."""
    row = Alert.objects.filter(
        pk=run.args["alert"], n_stated=run.args["n_stated"], ended_at=None, decided_at=None
    ).first()
    if row is None:
        return None
    return answers_to(row.site_id, found_again(row), datetime.now(UTC))


@run_kind(ANSWER, queue="solve", lease_s=120, prepare=reckon)
def answer(run: TaskRun, answers: list[Answer] | None) -> None:
    if answers is not None:
        write_answers(
            site_id=run.site_id or 0,
            alert_id=run.args["alert"],
            n_stated=run.args["n_stated"],
            answers=answers,
            at=datetime.now(UTC),
        )
