"""Works off years ahead part by part, a while in each task."""

import time
from datetime import UTC, datetime
from typing import Any

from equipment.site.models import TaskRun
from equipment.site.runs import run_kind
from schedules.errors import NoYearError

from .models import OutlookRun, OutlookState
from .services import RUN_KIND, do_part, go_on_later

WORK_S = 20.0  # then the rest goes to a task of its own


def work_a_while(run: TaskRun) -> None:
    """Do parts outside the task's transaction, each kept by itself, so that a kill loses one."""
    year = OutlookRun.objects.get(pk=run.args["run"])
    began_s = time.monotonic()
    try:
        while do_part(run=year, at=datetime.now(UTC)) and time.monotonic() - began_s < WORK_S:
            pass
    except NoYearError:
        return  # the run keeps its cause; again would be the same


@run_kind(RUN_KIND, queue="forecast", lease_s=180, prepare=work_a_while)
def go_on(run: TaskRun, _prepared: Any) -> None:
    year = OutlookRun.objects.get(pk=run.args["run"])
    if year.state == OutlookState.RUNNING:
        go_on_later(run=year, at=datetime.now(UTC))
