import numpy as np
from scipy import stats

from tests.schedules.outlook.years import years


def test_a_member_is_the_same_whatever_is_drawn_with_it() -> None:
    whole, alone = years(5), years(1, first=3)
    for name in ("et0_mm", "rain_mm", "begin_h", "length_h", "use_z", "rate_z"):
        assert getattr(whole, name)[3].tobytes() == getattr(alone, name)[0].tobytes()


def test_another_seed_is_another_year() -> None:
    assert not np.array_equal(years(1).rain_mm, years(1, seed=8).rain_mm)


def test_spreads_are_standard_normal() -> None:
    """Kolmogorov-Smirnov against scipy's normal distribution; the seed is fixed."""
    members = years(300, n_days=10)
    z = [members.use_z, members.recovery_z, members.capacity_z, members.rate_z]
    for values in z:
        assert stats.kstest(values, "norm").pvalue > 0.01
    assert np.abs(np.corrcoef(z) - np.eye(4)).max() < 0.2
