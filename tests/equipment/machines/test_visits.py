"""Combined visits: by hand, and against every grouping there is."""

from collections.abc import Iterator, Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.machines.calc.visits import Visit, VisitService, best_visits, saved_by
from equipment.site.calc.refusal import RefusedValueError


def service(
    key: str, due_d: int, early_cost_per_d: float, most_early_d: int = 1000
) -> VisitService:
    return VisitService(key, due_d, early_cost_per_d, most_early_d)


def test_two_services_ten_days_apart_by_hand() -> None:
    # ten days early at 2 a day cost 20; a second visit costs 90, so together they save 70
    oil, filters = service("oil", 5, 1.0), service("filters", 15, 2.0)
    found = best_visits([filters, oil], 90)
    assert found == [Visit(5, ("oil", "filters"), 20.0)]
    assert saved_by(found, 90) == pytest.approx(70)
    # a visit for 15 is cheaper than 20 of early work
    apart = best_visits([oil, filters], 15)
    assert apart == [Visit(5, ("oil",), 0.0), Visit(15, ("filters",), 0.0)]
    assert saved_by(apart, 15) == 0


def test_what_may_not_be_so_early_goes_apart() -> None:
    found = best_visits([service("oil", 5, 0.0), service("axle", 60, 0.0, most_early_d=50)], 90)
    assert [visit.keys for visit in found] == [("oil",), ("axle",)]


def test_nothing_due_is_no_visit() -> None:
    assert best_visits([], 90) == []


def groupings(things: Sequence[VisitService]) -> Iterator[list[list[VisitService]]]:
    """All partitions of a set: D. E. Knuth, TAOCP 4A, section 7.2.1.5."""
    if not things:
        yield []
        return
    first, *rest = things
    for groups in groupings(rest):
        yield [[first], *groups]
        for n, group in enumerate(groups):
            yield [*groups[:n], [first, *group], *groups[n + 1 :]]


def cost(groups: list[list[VisitService]], visit_cost: float) -> float:
    total = 0.0
    for group in groups:
        on_d = min(one.due_d for one in group)
        if any(one.due_d - on_d > one.most_early_d for one in group):
            return float("inf")
        total += visit_cost + sum((one.due_d - on_d) * one.early_cost_per_d for one in group)
    return total


some = st.lists(
    st.tuples(st.integers(0, 60), st.floats(0, 20), st.integers(0, 60)), min_size=1, max_size=6
)


@given(some, st.floats(0, 300))
def test_no_grouping_is_cheaper(facts: list[tuple[int, float, int]], visit_cost: float) -> None:
    services = [service(str(n), *fact) for n, fact in enumerate(facts)]
    found = best_visits(services, visit_cost)
    by_key = {one.key: one for one in services}
    assert sorted(key for visit in found for key in visit.keys) == sorted(by_key)
    chosen = [[by_key[key] for key in visit.keys] for visit in found]
    least = min(cost(groups, visit_cost) for groups in groupings(services))
    assert cost(chosen, visit_cost) == pytest.approx(least)
    assert saved_by(found, visit_cost) >= -1e-9


@pytest.mark.parametrize(
    ("name", "values"),
    [("due_d", (-1, 0.0, 0)), ("early_cost_per_d", (0, -1.0, 0)), ("most_early_d", (0, 0.0, -1))],
)
def test_a_service_that_cannot_be_weighed_is_refused(
    name: str, values: tuple[int, float, int]
) -> None:
    with pytest.raises(RefusedValueError, match=f"oil.{name}: out_of_range"):
        VisitService("oil", *values)


def test_nonsense_visits_are_refused() -> None:
    with pytest.raises(RefusedValueError, match="visit_cost"):
        best_visits([], -1)
    with pytest.raises(RefusedValueError, match="services: duplicate"):
        best_visits([service("oil", 1, 0), service("oil", 2, 0)], 1)
