"""What lacks, against trying every subset of what is asked."""

from itertools import chain, combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.outlook.calc.cover import ANY, Kinds, Shortage, shortage, total_min

SKILLS = ("beds", "cattle", "loader")
KINDS = st.frozensets(st.sampled_from(SKILLS))
AMOUNTS = st.dictionaries(KINDS, st.integers(0, 600), max_size=5)


def of(*skills: str) -> Kinds:
    return frozenset(skills)


def test_nothing_lacks_where_enough_are_there() -> None:
    assert shortage({of("loader"): 60}, {of("loader"): 60}) == Shortage(0, frozenset())
    assert shortage({}, {}) == Shortage(0, frozenset())


def test_who_lacks_the_skill_does_not_help() -> None:
    lack = shortage({of("loader"): 100, of("beds"): 10}, {of("loader"): 40, of("beds"): 500})
    assert lack == Shortage(60, frozenset({of("loader")}))


def test_who_has_two_skills_is_counted_once() -> None:
    lack = shortage({of("loader"): 60, of("beds"): 60}, {of("loader", "beds"): 80})
    assert lack == Shortage(40, frozenset({of("loader"), of("beds")}))


def test_work_for_anybody_is_short_of_all() -> None:
    lack = shortage({ANY: 100}, {of(): 30, of("beds"): 30})
    assert lack == Shortage(40, frozenset({ANY}))


def test_either_kind_of_machine_will_do() -> None:
    lack = shortage(
        {of("loader", "skid"): 90, of("loader"): 50}, {of("loader"): 60, of("skid"): 30}
    )
    assert lack == Shortage(50, frozenset({of("loader", "skid"), of("loader")}))


def test_negative_amounts_are_refused() -> None:
    with pytest.raises(ValueError, match="negative"):
        shortage({of("beds"): -1}, {})


@given(AMOUNTS, AMOUNTS)
def test_shortage_is_the_worst_of_all_subsets(
    need: dict[Kinds, int], have: dict[Kinds, int]
) -> None:
    subsets = chain.from_iterable(combinations(need, n) for n in range(len(need) + 1))
    lacks = {
        frozenset(group): sum(need[one] for one in group) - total_min(group, have)
        for group in subsets
    }
    worst = max(lacks.values())
    found = shortage(need, have)
    assert found.short_min == worst
    assert lacks[found.asked] == worst
    assert len(found.asked) == min(len(group) for group, lack in lacks.items() if lack == worst)
