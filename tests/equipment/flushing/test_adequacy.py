"""The two regimes in use in sand barns."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.flushing.calc import AlleyFlush, Regime, hydraulic_radius, regime_of

FT_M = 0.3048


def flush_at(ft_s: float, open_s: float) -> AlleyFlush:
    """A ten-foot alley, three inches deep, whose slope gives a velocity."""
    width_m, depth_m, speed_m_s = 10 * FT_M, 0.25 * FT_M, ft_s * FT_M
    slope = (speed_m_s * 0.02 / hydraulic_radius(width_m, depth_m) ** (2 / 3)) ** 2
    return AlleyFlush(100, width_m, float(slope), width_m * depth_m * speed_m_s, open_s)


@pytest.mark.parametrize(
    ("ft_s", "open_s", "regime"),
    [  # NRCS Illinois study: about 7.5 ft/s below a minute, about 3 ft/s for ten minutes and more
        (7.5, 30, Regime.FAST),
        (7.2, 59, Regime.FAST),
        (7.5, 60, Regime.NEITHER),
        (3, 600, Regime.SLOW),
        (3, 599, Regime.NEITHER),
        (2.5, 900, Regime.NEITHER),
        (5, 20, Regime.NEITHER),
    ],
)
def test_two_regimes_of_sand_barns(ft_s: float, open_s: float, regime: Regime) -> None:
    assert regime_of(flush_at(ft_s, open_s)) is regime


@given(st.floats(1, 12), st.floats(1, 1800), st.floats(1.01, 2))
def test_faster_water_never_leaves_the_regime(ft_s: float, open_s: float, factor: float) -> None:
    now = regime_of(flush_at(ft_s, open_s))
    if now is not Regime.NEITHER:
        assert regime_of(flush_at(ft_s * factor, open_s)) is now
