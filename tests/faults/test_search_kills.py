"""The broker and the solver are killed in the middle of a search: a plan always stands.

At every look each job is given once, nobody is in two places, nothing is half written; and the
search goes on: past a broker that came back at once, past a solver when the run's lease is over.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest

from tests.config.service import Service
from tests.faults.farm import N_JOBS
from tests.faults.fire import ask_farm, kill, kill_solver

pytestmark = pytest.mark.faults

LEASE_S = 45  # of dayplan.improve
COMPILE_S = 240  # the first search of a machine waits for its machine code


def _looked_at(service: Service) -> dict[str, Any]:
    """Look at the plan, which must be whole."""
    plan = ask_farm(service, "plan")
    assert plan["n_assigned"] == N_JOBS
    assert set(plan["workers"].values()) == {1}
    assert len(plan["workers"]) == N_JOBS
    for (worker, _start, end), (other, start, _end) in pairwise(plan["spans"]):
        assert worker != other or end <= start
    return plan


def _search_is_under_way(service: Service) -> dict[str, Any]:
    before = ask_farm(service, "plan")["n_plans"]
    ask_farm(service, "search", "200")
    service.wait(
        lambda: (plan := ask_farm(service, "plan"))["n_plans"] > before and plan["is_searching"],
        "a search that has put its first plan in place goes on",
        COMPILE_S,
    )
    return _looked_at(service)


def _goes_on(service: Service, before: dict[str, Any], within_s: float) -> None:
    """Wait for two more plans, the second by a run that began after the kill."""
    service.wait(
        lambda: (
            (plan := _looked_at(service))["n_plans"] >= before["n_plans"] + 2
            and plan["holder"] > before["holder"]
        ),
        "the search goes on and puts plans in place",
        within_s,
    )


def test_a_plan_stands_whatever_dies_in_mid_search(service: Service) -> None:
    ask_farm(service, "day")
    before = _search_is_under_way(service)
    kill(service, "valkey")
    _goes_on(service, before, 90)
    before = _search_is_under_way(service)
    kill_solver(service)
    _goes_on(service, before, LEASE_S + 90)
    assert "dead" not in ask_farm(service, "plan")["runs"]
