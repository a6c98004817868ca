"""Loops are compiled before a plan is waited for."""

from schedules.dayplan.calc.search.calls import keep_if_best
from schedules.dayplan.calc.search.first import use_once
from schedules.dayplan.calc.search.insert import lay_as_before, try_people
from schedules.dayplan.calc.search.slack import loosen, propagate
from schedules.dayplan.calc.search.total import total_cost

LOOPS = (try_people, lay_as_before, keep_if_best, propagate, loosen, total_cost)


def test_a_little_day_uses_every_loop_that_is_called_from_outside() -> None:
    assert use_once() == 600  # the price of the one job for which there is no time
    assert all(getattr(loop, "signatures", None) for loop in LOOPS)
