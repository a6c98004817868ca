"""All looks for what needs a decision, and how each kind finds its answers."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from equipment.site.errors import NotFoundError

from .basins import answer_basin, look_for_basins
from .beds import answer_beds, look_for_beds
from .drivers import answer_drivers, look_for_drivers
from .found import Answer, Found
from .machines import answer_machine, look_for_machines
from .models import AlertKind
from .sand import answer_sand, look_for_sand

N_ANSWERS = 2
Look = Callable[[int, datetime], list[Found]]
ANSWERS: dict[AlertKind, Callable[[int, Found, datetime], list[Answer]]] = {
    AlertKind.BEDS: answer_beds,
    AlertKind.SAND: answer_sand,
    AlertKind.BASIN: answer_basin,
    AlertKind.MACHINE: answer_machine,
    AlertKind.DRIVERS: answer_drivers,
}
QUICK: dict[AlertKind, Look] = {
    AlertKind.BEDS: look_for_beds,
    AlertKind.MACHINE: look_for_machines,
    AlertKind.DRIVERS: look_for_drivers,
    AlertKind.BASIN: look_for_basins,
}
SLOW: dict[AlertKind, Look] = {AlertKind.SAND: look_for_sand}


def answers_to(site_id: int, found: Found, now: datetime) -> list[Answer]:
    """Give the best two answers; none where what it rests on is gone meanwhile."""
    try:
        return ANSWERS[found.kind](site_id, found, now)[:N_ANSWERS]
    except NotFoundError:
        return []
