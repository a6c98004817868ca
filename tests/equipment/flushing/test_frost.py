"""The farm's freezing rules."""

import math

import pytest

from equipment.flushing.calc import FrostLimits, FrostRule, frost_rule

LIMITS = FrostLimits(drain_below_degc=-2, no_flush_below_degc=-10)


@pytest.mark.parametrize(
    ("air_degc", "rule"),
    [  # limits are the farm's own; common practice, no source
        (5, FrostRule.NONE),
        (-2, FrostRule.NONE),
        (-2.1, FrostRule.DRAIN_VALVES),
        (-10, FrostRule.DRAIN_VALVES),
        (-10.1, FrostRule.NO_FLUSH),
    ],
)
def test_rules_hold_below_their_limits(air_degc: float, rule: FrostRule) -> None:
    assert frost_rule(air_degc, LIMITS) is rule


def test_limits_the_wrong_way_round_and_no_number_are_refused() -> None:
    with pytest.raises(ValueError, match="no_flush_below_degc"):
        FrostLimits(drain_below_degc=-10, no_flush_below_degc=-2)
    with pytest.raises(ValueError, match="air_degc"):
        frost_rule(math.nan, LIMITS)
