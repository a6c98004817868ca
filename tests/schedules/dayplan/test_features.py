"""Tiny random days with each thing a problem can say: the judge finds nothing in what is planned.

That the best is found is test_brute_force's; here no plan may break a rule, and the search must
reckon what it does as the score does.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from schedules.dayplan.calc.check import check
from schedules.dayplan.calc.model import Progress, solve_day
from schedules.dayplan.calc.problem import Duration, Job, Problem, Seat
from schedules.dayplan.calc.resources import (
    Amount,
    Effort,
    Fuel,
    Gear,
    HeatRest,
    Person,
    Place,
    Road,
    Skill,
)

from .test_brute_force import tiny_problem
from .tiny import at, span

N_DAYS = 12
Draw = np.random.Generator
Change = Callable[[Problem, Draw], Problem]


def each_job(change: Callable[[Job, Draw], Job]) -> Change:
    def changed(problem: Problem, draw: Draw) -> Problem:
        return replace(problem, jobs=tuple(change(job, draw) for job in problem.jobs))

    return changed


def each_person(change: Callable[[Person, Draw], Person]) -> Change:
    def changed(problem: Problem, draw: Draw) -> Problem:
        return replace(problem, people=tuple(change(p, draw) for p in problem.people))

    return changed


def levels(problem: Problem, draw: Draw) -> Problem:
    skilled = each_person(
        lambda p, d: replace(p, skills=(Skill("cattle", level=int(d.integers(1, 4))),))
    )
    wanted = each_job(
        lambda j, d: replace(j, skills=("cattle",), skill_level=int(d.integers(1, 3)))
    )
    return wanted(skilled(problem, draw), draw)


def seats(problem: Problem, draw: Draw) -> Problem:
    two = (Seat(("cattle",)), Seat())
    chosen = each_job(lambda j, d: replace(j, seats=two, n_people=2) if d.random() < 0.5 else j)
    return chosen(problem, draw)


def crew_sizes(job: Job, draw: Draw) -> Job:
    both = (Duration(max(5, job.duration_min - 5), n_people=2), Duration(job.duration_min + 5))
    return replace(job, durations=both) if draw.random() < 0.7 else job


def geared(problem: Problem, draw: Draw) -> Problem:
    held = each_job(lambda j, d: replace(j, gear=(Amount("pump", int(d.integers(1, 3))),)))
    return held(replace(problem, gear=(Gear("pump", 2),)), draw)


def stocked(problem: Problem, draw: Draw) -> Problem:
    store = Place("store", 0, 200, stocks=("wrench", "liner"), call_min=2)
    problem = replace(problem, places=(*problem.places, store), tools=("wrench",))
    asked = each_job(
        lambda j, d: replace(j, items=(Amount(("wrench", "liner")[int(d.integers(2))]),))
    )
    carried = each_person(lambda p, d: replace(p, carries=(Amount("wrench"), Amount("liner", 2))))
    return asked(carried(problem, draw) if draw.random() < 0.3 else problem, draw)


def on_roads(problem: Problem, draw: Draw) -> Problem:
    one_way = bool(draw.random() < 0.5)
    return replace(
        problem, roads=(Road("barn", "lot", 500, is_one_way=one_way), Road("lot", "barn", 640))
    )


def by_table(problem: Problem, draw: Draw) -> Problem:
    n = len(problem.places)
    return replace(problem, ways_m=tuple(map(tuple, draw.integers(0, 800, (n, n)).tolist())))


def fuelled(problem: Problem, draw: Draw) -> Problem:
    fuel = Fuel(float(draw.integers(0, 20)), 20, "lot", 3)
    driven = each_job(lambda j, _: replace(j, machine_kinds=("loader",)))
    return driven(
        replace(problem, machines=tuple(replace(m, fuel=fuel) for m in problem.machines)), draw
    )


def bound(problem: Problem, draw: Draw) -> Problem:
    first, second, third, fourth = problem.jobs
    return replace(
        problem,
        jobs=(
            first,
            replace(second, same_people_as=("job0",)),
            replace(third, other_people_than=("job1",)),
            replace(fourth, same_machine_as=("job0",), other_people_than=("job0",)),
        ),
    )


def hot(problem: Problem, draw: Draw) -> Problem:
    rests = (HeatRest(at(10), at(70), 0, 15, int(draw.integers(15, 46))),)
    new = each_person(lambda p, d: replace(p, heat_rests=rests if d.random() < 0.6 else ()))
    return each_job(lambda j, _: replace(j, effort=Effort.HEAVY))(new(problem, draw), draw)


def priced(problem: Problem, draw: Draw) -> Problem:
    weights = replace(
        problem.weights, duty_per_min=float(draw.random()), balance_per_min=float(draw.random())
    )
    return replace(problem, weights=weights)


FEATURES: dict[str, Change] = {
    "levels": levels,
    "seats": seats,
    "crew sizes": each_job(crew_sizes),
    "gear": geared,
    "items": stocked,
    "roads": on_roads,
    "a table of ways": by_table,
    "fuel": fuelled,
    "bonds": bound,
    "heat": hot,
    "duty and balance": priced,
    "ways back": each_person(lambda p, _: replace(p, end_place="lot")),
    "own speeds": each_person(lambda p, d: replace(p, walk_m_min=float(d.integers(40, 160)))),
    "pauses": each_job(lambda j, _: replace(j, may_pause=True, windows=(span(5, 95),))),
    "own prices": each_job(
        lambda j, d: replace(j, left_out_cost=50, late_per_min=3, due_at=at(40))
    ),
}


@pytest.mark.parametrize("name", FEATURES)
def test_no_plan_breaks_a_rule_and_the_search_reckons_as_the_score(name: str) -> None:
    for seed in range(N_DAYS):
        problem = FEATURES[name](tiny_problem(seed), np.random.default_rng(seed))
        heard: list[Progress] = []

        solution = solve_day(problem, seed=seed, iterations=60, on_progress=heard.append)

        assert check(problem, solution).broken == (), seed
        # Seconds are rounded up, a leg and a price each: less than a minute on a day of four jobs.
        assert abs(heard[-1].cost - solution.score.total_cost) < 1, seed


def test_all_features_together() -> None:
    for seed in range(N_DAYS):
        draw = np.random.default_rng(seed)
        problem = tiny_problem(seed)
        for name in ("levels", "gear", "items", "fuel", "bonds", "heat", "ways back", "pauses"):
            problem = FEATURES[name](problem, draw)

        solution = solve_day(problem, seed=seed, iterations=60)

        assert check(problem, solution).broken == (), seed
