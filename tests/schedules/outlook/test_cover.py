"""What lacks, against trying every subset of what is asked."""

from itertools import chain, combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.outlook.calc.cover import ANY, Kinds, Shortage, shortages, total_min

SKILLS = ("beds", "cattle", "loader")
KINDS = st.frozensets(st.sampled_from(SKILLS))
AMOUNTS = st.dictionaries(KINDS, st.integers(0, 600), max_size=5)


def of(*skills: str) -> Kinds:
    return frozenset(skills)


def test_nothing_lacks_where_enough_are_there() -> None:
    assert shortages({of("loader"): 60}, {of("loader"): 60}) == ()
    assert shortages({}, {}) == ()


def test_who_lacks_the_skill_does_not_help() -> None:
    lacks = shortages({of("loader"): 100, of("beds"): 10}, {of("loader"): 40, of("beds"): 500})
    assert lacks == (Shortage(60, frozenset({of("loader")})),)


def test_who_has_two_skills_is_counted_once() -> None:
    lacks = shortages({of("loader"): 60, of("beds"): 60}, {of("loader", "beds"): 80})
    assert lacks == (Shortage(40, frozenset({of("loader"), of("beds")})),)


def test_work_for_anybody_is_short_of_all() -> None:
    lacks = shortages({ANY: 100}, {of(): 30, of("beds"): 30})
    assert lacks == (Shortage(40, frozenset({ANY})),)


def test_either_kind_of_machine_will_do() -> None:
    lacks = shortages(
        {of("loader", "skid"): 90, of("loader"): 50}, {of("loader"): 60, of("skid"): 30}
    )
    assert lacks == (Shortage(50, frozenset({of("loader", "skid"), of("loader")})),)


def test_lacks_that_nobody_could_share_stand_apart() -> None:
    need = {of("loader"): 90, of("beds"): 50, of("cattle"): 10}
    lacks = shortages(need, {of("loader", "beds"): 0, of("beds"): 30, of("cattle"): 60})
    assert lacks == (
        Shortage(90, frozenset({of("loader")})),
        Shortage(20, frozenset({of("beds")})),
    )


def test_negative_amounts_are_refused() -> None:
    with pytest.raises(ValueError, match="negative"):
        shortages({of("beds"): -1}, {})


@given(AMOUNTS, AMOUNTS)
def test_shortages_are_the_worst_of_all_subsets(
    need: dict[Kinds, int], have: dict[Kinds, int]
) -> None:
    subsets = chain.from_iterable(combinations(need, n) for n in range(len(need) + 1))
    lacks = {
        frozenset(group): sum(need[one] for one in group) - total_min(group, have)
        for group in subsets
    }
    worst = max(lacks.values())
    found = shortages(need, have)
    assert sum(one.short_min for one in found) == worst
    assert all(lacks[one.asked] == one.short_min > 0 for one in found)
    named = frozenset().union(*(one.asked for one in found))
    assert len(named) == min(len(group) for group, lack in lacks.items() if lack == worst)
