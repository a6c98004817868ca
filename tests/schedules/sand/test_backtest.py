"""The committed backtest: its figures hold, and a part of it is made anew here, byte for byte."""

import pytest

from tests.schedules.sand import hourly_year
from tests.schedules.sand.backtest import (
    BATCH,
    CLIMATES,
    PERTURBED,
    TABLE,
    TOO_SURE,
    WEATHER_ALONE,
    Run,
    small_rows,
)

LINES = TABLE.read_text(encoding="utf-8").splitlines()


def figures(run: Run) -> dict[str, list[str]]:
    """The cells of a run by place; of the large table, which comes first."""
    large = LINES[: next(n for n, line in enumerate(LINES) if line.startswith("One batch in"))]
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in large if "|" in line]
    return {row[0]: row for row in cells if row[2] == run.name}


@pytest.mark.parametrize("run", [WEATHER_ALONE, PERTURBED], ids=lambda run: run.name)
def test_ranges_hold_and_both_baselines_are_beaten_in_every_climate(run: Run) -> None:
    rows = figures(run)
    assert len(rows) == len(CLIMATES) == 6
    for place, row in rows.items():
        n, hit_pct = int(row[3]), float(row[6].split("±")[0])
        crps_d, climate_d, et0_d = map(float, row[7:10])
        assert n > 500, place
        assert 75 <= hit_pct <= 85, place
        assert crps_d < min(climate_d, et0_d), place


def test_a_forecast_that_believes_its_settings_is_too_sure_in_every_climate() -> None:
    honest, sure = figures(PERTURBED), figures(TOO_SURE)
    for place, row in sure.items():
        assert float(row[6].split("±")[0]) < 75, place
        assert float(honest[place][7]) < float(row[7]), place


def test_a_part_of_the_table_is_made_anew_to_the_byte() -> None:
    for row in small_rows():
        assert row.text() in LINES


def test_the_hourly_check_is_made_anew_to_the_byte() -> None:
    for line in hourly_year.lines(BATCH):
        assert line in LINES


@pytest.mark.trade_check("T8")
def test_rain_of_the_typical_year_is_in_tenths() -> None:
    # trade-values T8: as printed the year sums to 8 345, so in tenths it is 834.5 mm
    _et0_mm, rain_mm, _latitude_deg = hourly_year.greensboro()
    assert rain_mm.sum() == pytest.approx(834.5)


def test_sums_laid_over_the_hours_beat_whole_days() -> None:
    laid = hourly_year.compare(BATCH, whole_days=False)
    whole = hourly_year.compare(BATCH, whole_days=True)
    assert laid.same_frac > 0.75
    assert laid.off_mean_d < whole.off_mean_d
    assert abs(laid.later_mean_d) < 0.5 < abs(whole.later_mean_d)
