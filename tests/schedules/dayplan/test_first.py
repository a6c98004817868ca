"""Loops are compiled before a plan is waited for."""

from schedules.dayplan.calc.search.calls import put_in, take_out_chosen
from schedules.dayplan.calc.search.first import use_once
from schedules.dayplan.calc.search.insert import find_gap
from schedules.dayplan.calc.search.slack import loosen, propagate
from schedules.dayplan.calc.search.total import total_cost

LOOPS = (find_gap, put_in, take_out_chosen, propagate, loosen, total_cost)


def test_a_little_day_uses_every_loop_that_is_called_from_outside() -> None:
    assert use_once() == 600  # the price of the one job for which there is no time
    assert all(getattr(loop, "signatures", None) for loop in LOOPS)
