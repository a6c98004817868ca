"""The best order of pens, against trying all of them."""

from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.rounds.calc.order import (
    OrderPen,
    OrderRules,
    is_order_allowed,
    order_pens,
    price_order,
)
from tests.schedules.rounds.builders import few

RULES = OrderRules(wash_s=2700, available_s=20_000, crew=((0, 9000),))

pen_lists = st.lists(
    st.tuples(
        st.integers(1, 3),
        st.booleans(),
        st.integers(60, 2400),
        st.integers(0, 900),
        st.integers(900, 4000),
        st.integers(-400, 400),
        st.integers(0, 400),
    ),
    min_size=1,
    max_size=6,
).map(lambda rows: [OrderPen(str(n), *row) for n, row in enumerate(rows)])


def pen(key: str, contagion_class: int = 1, *, is_withheld: bool = False, x: int = 0) -> OrderPen:
    return OrderPen(key, contagion_class, is_withheld, 1800, 300, 2100, x, 0)


def test_an_order_is_priced_by_hand() -> None:
    # Beds of a: 300 to 2,100 s, of b: 2,100 to 3,900 s. The crew goes at 3,000 s: 900 s of b's
    # are without one. 120 m between them at 1.2 m/s are 100 s on foot.
    rules = OrderRules(wash_s=2700, available_s=3000, crew=((0, 3000),))
    priced = price_order([pen("a"), pen("b", x=120)], rules)
    assert priced.cost_s == 900 + 100
    assert (priced.needed_s, priced.short_s, priced.n_washes) == (3600, 600, 0)


@few
@given(pen_lists, st.integers(0, 8000))
def test_no_order_is_better_than_the_one_found(pens: list[OrderPen], crew_until_s: int) -> None:
    rules = OrderRules(wash_s=2700, available_s=20_000, crew=((0, crew_until_s),))
    tried = [price_order(o, rules) for o in permutations(pens) if is_order_allowed(o)]
    found = order_pens(pens, rules)
    assert found.is_proven
    assert found.cost_s == min(order.cost_s for order in tried)
    assert {order.needed_s for order in tried} == {found.needed_s}


def test_withheld_milk_comes_last_in_its_class_and_is_washed_away_before_the_next() -> None:
    # Treated milk last, a system wash before saleable milk follows; susceptible cows first:
    # AHDB milking groups, NADIS.
    pens = [pen("sick", 1, is_withheld=True), pen("late", 2), pen("fresh", 1)]
    found = order_pens(pens, RULES)
    assert found.keys == ("fresh", "sick", "late")
    assert found.n_washes == 1
    assert found.needed_s == 3 * 1800 + 2700


def test_what_does_not_fit_says_how_much_is_missing() -> None:
    pens = [pen("a"), pen("b")]
    tight = OrderRules(wash_s=0, available_s=3600, crew=())
    assert order_pens(pens, tight).short_s == 0
    assert order_pens([*pens, pen("c")], tight).short_s == 1800


def test_no_pens_are_refused() -> None:
    with pytest.raises(ValueError, match="pens: at least one is needed"):
        order_pens([], RULES)


def test_an_order_of_many_pens_is_improved_and_said_not_to_be_proven() -> None:
    # 22 pens along an alley, milked from its two ends in turn; no walk is shorter than once along
    # it: 21 steps of 12 m at 1.2 m/s, and one more. The pen beyond the end is of a later class.
    by_turns = [x for pair in zip(range(11), range(21, 10, -1), strict=True) for x in pair]
    pens = [pen("late", 2, x=12 * 22), *(pen(str(x), x=12 * x) for x in by_turns)]
    rules = OrderRules(wash_s=0, available_s=90_000, crew=((0, 90_000),))
    found = order_pens(pens, rules)
    assert not found.is_proven
    assert sorted(found.keys) == sorted(one.key for one in pens)
    assert found.keys[-1] == "late"
    own = price_order(sorted(pens, key=lambda one: one.contagion_class), rules)
    assert found.cost_s == 22 * 10 < own.cost_s
