import numpy as np
from scipy import stats

from schedules.outlook.calc.members import draw_years
from tests.schedules.outlook.years import START_ON, history, years


def test_a_member_is_the_same_whatever_is_drawn_with_it() -> None:
    whole, alone = years(5), years(1, first=3)
    for name in ("et0_mm", "rain_mm", "begin_h", "length_h", "use_z", "rate_z"):
        assert getattr(whole, name)[3].tobytes() == getattr(alone, name)[0].tobytes()


def test_another_seed_is_another_year() -> None:
    drawn = [
        draw_years(history(), START_ON, seed=seed, first=0, n_members=1, n_days=90).rain_mm
        for seed in (7, 8, 7)
    ]
    assert not np.array_equal(drawn[0], drawn[1])
    assert np.array_equal(drawn[0], drawn[2])


def test_spreads_are_standard_normal() -> None:
    """Kolmogorov-Smirnov against scipy's normal distribution; the seed is fixed."""
    members = years(300, n_days=10)
    z = [members.use_z, members.recovery_z, members.capacity_z, members.rate_z, members.solids_z]
    for values in z:
        assert stats.kstest(values, "norm").pvalue > 0.01
    assert np.abs(np.corrcoef(z) - np.eye(5)).max() < 0.2
