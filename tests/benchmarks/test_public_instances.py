"""The published instances are read right: published plans and values come out of them again.

Sources: fixtures/published/dayplan/README.md.
"""

import pytest
from ortools.sat.python import cp_model

from tests.schedules.dayplan.public_instances import (
    LagProject,
    lag_project,
    skill_project,
    technician_day,
    technician_routes,
    time_on_duty,
)

TRSP = "R101.100_25-5-5-5"


def test_the_published_tours_keep_every_rule_and_take_the_published_time() -> None:
    day = technician_day(TRSP)
    value, routes = technician_routes(TRSP)

    times = [time_on_duty(day, technician, stops) for technician, stops in routes.items()]

    served = sorted(stop for stops in routes.values() for stop in stops if stop is not None)
    assert (len(day.technicians), served) == (25, list(range(100)))
    assert sum(time for time in times if time is not None) == pytest.approx(value, abs=1e-4)
    assert None not in times


def test_tours_that_break_a_rule_take_no_time() -> None:
    day = technician_day(TRSP)
    _, routes = technician_routes(TRSP)

    without_depot = [stop for stop in routes[1] if stop is not None]
    assert time_on_duty(day, 1, routes[1]) is not None
    assert time_on_duty(day, 1, without_depot) is None  # a tool is missing
    assert time_on_duty(day, 0, routes[0][::-1]) is None  # windows
    assert time_on_duty(day, 3, routes[0]) is None  # a skill


@pytest.mark.parametrize(
    ("name", "n_tasks", "n_people", "n_precedences"),
    [
        ("easy_02", 25, 3, 43),
        ("easy_03", 20, 4, 34),
        ("medium_01", 14, 6, 23),
        ("inst_set1a_sf0.5_nc1.5_n20_m10_00", 22, 10, 31),
        ("inst_set2c_sf0_nc2.1_n20_l3_m4_00", 22, 4, 40),
    ],
)
def test_skill_projects_have_all_their_parts(
    name: str, n_tasks: int, n_people: int, n_precedences: int
) -> None:
    project = skill_project(name)

    n_skills = {len(row) for row in project.needs}
    assert (len(project.durations), len(project.needs)) == (n_tasks, n_tasks)
    assert (len(project.masters), len(project.precedences)) == (n_people, n_precedences)
    assert len(n_skills) == 1
    assert set().union(*project.masters) == set(range(n_skills.pop()))


def test_a_lag_project_has_the_makespan_of_its_readme() -> None:
    assert least_makespan(lag_project("psp_j10_33")) == 70


@pytest.mark.parametrize(
    ("name", "n_tasks", "n_lags"),
    [("psp_j20_34", 20, 36), ("psp_j20_35", 20, 52), ("psp_j30_33", 30, 105)],
)
def test_lag_projects_have_all_their_parts(name: str, n_tasks: int, n_lags: int) -> None:
    project = lag_project(name)

    assert (len(project.durations), len(project.uses)) == (n_tasks, n_tasks)
    assert (len(project.lags), project.capacities) == (n_lags, (5,) * 5)


def least_makespan(project: LagProject) -> int:
    model = cp_model.CpModel()
    latest = sum(project.durations) + sum(max(0, lag) for _, lag, _ in project.lags)
    starts = [model.new_int_var(0, latest, "") for _ in project.durations]
    end = model.new_int_var(0, latest, "")
    pairs = list(zip(starts, project.durations, strict=True))
    spans = [model.new_fixed_size_interval_var(start, length, "") for start, length in pairs]
    for one, lag, other in project.lags:
        model.add(starts[one] + lag <= starts[other])
    for k, capacity in enumerate(project.capacities):
        model.add_cumulative(spans, [uses[k] for uses in project.uses], capacity)
    for start, length in pairs:
        model.add(start + length <= end)
    model.minimize(end)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    assert solver.solve(model) == cp_model.OPTIMAL
    return round(solver.objective_value)
