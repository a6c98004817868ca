from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from scipy import stats

from schedules.outlook.calc.scenario import Hours, PileNow
from schedules.outlook.calc.simulate import NO_SAND, PADS_FULL, YearRun, simulate_year
from schedules.outlook.calc.summary import (
    Event,
    Outcome,
    Season,
    chance,
    chance_by,
    mean,
    month_ends,
    outcomes,
    season_of,
    short_seasons,
)
from tests.schedules.outlook.years import even_years, scenario, years


@pytest.mark.parametrize(("n_hit", "n"), [(0, 50), (7, 50), (50, 50), (1, 1000)])
def test_interval_is_wilsons(n_hit: int, n: int) -> None:
    """scipy's binomtest gives Wilson's interval too."""
    found = chance(np.arange(n) < n_hit)
    expected = stats.binomtest(n_hit, n).proportion_ci(0.95, method="wilson")
    assert found.frac == n_hit / n
    assert found.low_frac == pytest.approx(expected.low, abs=1e-12)
    assert found.high_frac == pytest.approx(expected.high, abs=1e-12)
    assert found.se_frac == pytest.approx(np.sqrt(n_hit / n * (1 - n_hit / n) / n))


def test_a_paired_difference_is_the_paired_t_tests() -> None:
    """scipy's ttest_rel: t = mean of the differences / its standard error."""
    rng = np.random.default_rng(3)
    a = rng.normal(size=40)
    b = a + rng.normal(0.3, 0.5, size=40)
    found = mean(b - a)
    assert found.mean / found.se == pytest.approx(stats.ttest_rel(b, a).statistic)


def test_chances_by_date_never_fall() -> None:
    base = scenario(buying=None)
    yard = replace(base.yard, piles=(PileNow(capacity_kg=1e6, dry_kg=5e5),) * 4)
    run = simulate_year(replace(base, yard=yard), years(30))
    fracs = [c.frac for c in chance_by(run, Event.NO_SAND, month_ends(base.start_on, 365))]
    assert len(fracs) == 12
    assert fracs == sorted(fracs)
    assert fracs[-1] > fracs[0] == 0
    first_days = np.argmax((run.flag & NO_SAND) > 0, axis=1)
    assert fracs[3] == np.mean(((run.flag & NO_SAND) > 0).any(axis=1) & (first_days < 120))


def test_months_end_where_the_calendar_says() -> None:
    assert month_ends(date(2026, 1, 15), 60) == [16, 44, 59]


def test_seasons_are_the_weathers() -> None:
    assert [season_of(date(2026, m, 1)) for m in (12, 2, 3, 6, 9)] == [
        Season.WINTER,
        Season.WINTER,
        Season.SPRING,
        Season.SUMMER,
        Season.AUTUMN,
    ]


def test_a_season_is_short_where_need_is_above_hours() -> None:
    hours = Hours(people_base_h_d=10, loader_base_h_d=6, people_there_h_d=8, loader_there_h_d=12)
    farm = scenario(hours=hours)
    shares = short_seasons(simulate_year(farm, even_years(365)), farm)
    assert set(shares) == set(Season)
    people, loaders = shares[Season.SUMMER]
    assert people[0] == pytest.approx(10 / 8)
    assert loaders[0] == pytest.approx(6 / 12)
    nobody_said = replace(farm, hours=replace(hours, people_there_h_d=0))
    assert short_seasons(simulate_year(farm, even_years(9)), nobody_said)[Season.WINTER][0][0] == 0


def test_outcomes_count_what_the_flags_say() -> None:
    run = YearRun(
        np.zeros((2, 5, 6), dtype=np.float32),
        np.array([[0, 1, 5, 4, 0], [0, 0, 0, 0, 0]], dtype=np.uint8),
        np.array([[3e3, 0, 2e3, 0, 7, 0, 0, 0, 0], [0] * 9], dtype=float),
    )
    assert (NO_SAND, PADS_FULL) == (1, 4)
    found = outcomes(run, scenario())
    assert found[Outcome.NO_SAND].tolist() == [1, 0]
    assert found[Outcome.NO_SAND_D].tolist() == [2, 0]
    assert found[Outcome.PADS_FULL_D].tolist() == [2, 0]
    assert found[Outcome.MISSING_T].tolist() == [5, 0]
    assert found[Outcome.CLEANED_M3].tolist() == [7, 0]


def test_no_member_and_one_member_are_refused() -> None:
    with pytest.raises(ValueError, match="has_happened"):
        chance(np.zeros(0, dtype=bool))
    with pytest.raises(ValueError, match="values"):
        mean(np.zeros(1))
