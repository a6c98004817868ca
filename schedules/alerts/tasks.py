"""Looks every minute, and every quarter of an hour at what moves slowly."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from equipment.site.models import TaskRun
from equipment.site.runs import run_kind

from .found import Answer, Found
from .looks import QUICK, SLOW, Look, answers_to
from .models import Alert, AlertKind
from .services import ANSWER, found_again, keep, write_answers


def _look(run: TaskRun, looks: dict[AlertKind, Look]) -> list[Found]:
    assert run.site_id is not None
    now = datetime.now(UTC)
    return [one for look in looks.values() for one in look(run.site_id, now)]


def look_soon(run: TaskRun) -> list[Found]:
    """Look outside of any transaction at what moves within hours."""
    return _look(run, QUICK)


def look_ahead(run: TaskRun) -> list[Found]:
    """Look outside of any transaction at what moves within days."""
    return _look(run, SLOW)


@run_kind("alerts.look", prepare=look_soon, every=timedelta(minutes=1))
def keep_soon(run: TaskRun, found: list[Found]) -> None:
    assert run.site_id is not None
    keep(site_id=run.site_id, kinds=tuple(QUICK), found=found, at=datetime.now(UTC))


@run_kind("alerts.look_ahead", queue="forecast", prepare=look_ahead, every=timedelta(minutes=15))
def keep_ahead(run: TaskRun, found: list[Found]) -> None:
    assert run.site_id is not None
    keep(site_id=run.site_id, kinds=tuple(SLOW), found=found, at=datetime.now(UTC))


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
