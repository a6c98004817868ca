"""The graph of a contract's lines finds what the constraint model finds, person by person."""

from typing import Any

import numpy as np
import pytest

from crews.roster.calc.columns import Key, PersonLines, PersonRows
from crews.roster.calc.lines import line_graph, use_once
from crews.roster.calc.model import RosterModel
from tests.benchmarks.week_generator import farm_weeks

from .test_week_brute_force import a_problem

N_PROBLEMS = 120
N_BATCHES = 4


@pytest.mark.parametrize("batch", range(N_BATCHES))
def test_the_cheapest_line_is_the_constraint_models(batch: int) -> None:
    for seed in range(batch, N_PROBLEMS, N_BATCHES):
        problem = a_problem(seed)
        model = RosterModel(problem)
        keys: dict[Key, Any] = {**model.x, **model.y}
        index_of = {key: literal.index for key, literal in keys.items()}
        rng = np.random.default_rng(seed)
        price = rng.integers(-60_000, 90_000, size=len(model.model.proto.variables)).astype(float)
        graph = line_graph(problem, problem.contracts[0].rules, problem.people)
        assert graph is not None

        for p, person in enumerate(problem.people):
            searched = PersonRows(problem, p, index_of).best(price, 0)
            if person.id in graph.start:
                lines = PersonLines(problem, p, index_of, graph)
                found = lines.best(price, 0)
                assert found.least_reduced == pytest.approx(searched.least_reduced), seed
                for column in found.columns:
                    reward = sum(price[place] for place in column.places)
                    assert column.cost - reward == pytest.approx(found.least_reduced), seed
                    assert lines.column_of(set(column.places)) == column, seed
            else:
                assert searched.columns == [], seed


def test_a_month_of_a_farms_contract_fits_in_a_graph() -> None:
    problem = farm_weeks(n_people=40, n_weeks=4)
    full = [person for person in problem.people if person.contract == "full"]

    graph = line_graph(problem, problem.contracts[0].rules, full)

    assert graph is not None
    assert set(graph.start) == {person.id for person in full}


def test_the_little_line_costs_its_two_days() -> None:
    assert use_once() == 2.0
