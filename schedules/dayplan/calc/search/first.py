"""All compiled loops used once, so that their machine code is there before a plan is waited for."""

from datetime import UTC, datetime, timedelta
from functools import cache

from schedules.dayplan.calc.instance import Instance
from schedules.dayplan.calc.problem import Booking, Job, Problem
from schedules.dayplan.calc.resources import Interval, Machine, Person, Place, Shift
from schedules.dayplan.calc.search.tables import Tables
from schedules.dayplan.calc.search.worker import Worker

_DAY = datetime(2026, 1, 1, tzinfo=UTC)


@cache
def use_once() -> float:
    """Plan a little day that asks for every loop; return what the plan costs [min of walking].

    Compiling takes some tens of seconds, once for each version of the sources.
    """
    worker = Worker(Tables(Instance(little_day())), seed=0)
    worker.begin()
    worker.go_on(200, 0.5)
    return worker.best_cost


def little_day() -> Problem:
    """Build a day of four jobs and two people."""
    day = Interval(_DAY, _DAY + timedelta(hours=8))
    people = tuple(Person(key, "yard", (Shift(day.start, day.end),)) for key in ("one", "two"))
    loader = Machine("loader", "loader", "yard", 100, (day,))
    before = Booking(("one",), None, _DAY, _DAY + timedelta(minutes=200))
    jobs = (
        Job("alone", "work", "yard", (day,), 200, previous=before),
        Job("driven", "work", "yard", (day,), 200, machine_kinds=("loader",)),
        Job("together", "work", "yard", (day,), 200, n_people=2),
        Job("too much", "work", "yard", (day,), 200, n_people=2),
    )
    place = Place("yard", 0, 0)
    return Problem(horizon=day, places=(place,), people=people, machines=(loader,), jobs=jobs)
