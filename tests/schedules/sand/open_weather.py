"""Open weather series, read where packages installed for the tests keep them.

aquacrop 3.1.0 (Apache-2.0): champion_climate.txt, Champion, Nebraska, 1982-2018, and four other
places, temperatures, rain and reference ET. pcse 6.0.13 (EUPL): NL1.976 to NL1.999, Wageningen
(Haarweg), all that FAO-56 asks for. None is copied here.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from importlib.util import find_spec
from math import nan
from pathlib import Path
from typing import Any

import numpy as np

from equipment.weather.calc.days import Place, daily_weather
from equipment.weather.calc.et0 import ET0Method, reference_et
from equipment.weather.calc.members import ClimateHistory, resample_years
from schedules.sand.calc.drying import NOT_DRY, DryTarget, first_dry_day, simulate_drying
from schedules.sand.calc.forecast import forecast_dry
from schedules.sand.calc.layer import Layer, drained_moisture_wb_frac
from schedules.sand.calc.pad import PadWeather, SpreadBatch


def _package(name: str) -> Path:
    spec = find_spec(name)
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent


@cache
def aquacrop_rows(name: str) -> list[tuple[date, dict[str, float]]]:
    """Day Month Year Tmin Tmax Prcp Et0, in °C and mm."""
    lines = (_package("aquacrop") / "data" / f"{name}_climate.txt").read_text().splitlines()[1:]
    rows = []
    for line in lines:
        day, month, year, tmin, tmax, rain, et0 = line.split()
        values = {"tmin_degc": tmin, "tmax_degc": tmax, "rain_mm": rain, "et0_mm": et0}
        on = date(int(float(year)), int(float(month)), int(float(day)))
        rows.append((on, {name: float(text) for name, text in values.items()}))
    return rows


def champion_rows() -> list[tuple[date, dict[str, float]]]:
    return aquacrop_rows("champion")


@cache
def wageningen_rows() -> list[tuple[date, dict[str, float]]]:
    """Station, year, day of year, kJ/m², °C, °C, kPa, m/s, mm; -99 is nil."""
    rows = []
    for path in sorted((_package("pcse") / "tests" / "test_data").glob("NL1.9??")):
        for line in path.read_text(encoding="latin-1").splitlines():
            cells = line.split()
            if line.startswith("*") or len(cells) != 9:
                continue
            solar, tmin, tmax, ea, wind, rain = (float(cell) for cell in cells[3:])
            on = date(int(cells[1]), 1, 1) + timedelta(days=int(cells[2]) - 1)
            rows.append((on, {
                "tmin_degc": tmin, "tmax_degc": tmax, "rain_mm": rain, "ea_kpa": ea,
                "wind_2m_m_s": wind, "solar_mj_m2_d": solar / 1000,
            }))  # fmt: skip
    return rows


@dataclass(frozen=True, eq=False)
class Series:
    """A place's days, with ET0 given or computed, and how it came about."""

    name: str
    history: ClimateHistory
    methods: tuple[ET0Method, ...]
    latitude_deg: float


# The files give ET0, so that height matters no more, and the latitude only for the hours of sun
AQUACROP = {
    "champion": ("Champion, Nebraska", Place(latitude_deg=40.40, elevation_m=1029)),
    "tunis": ("Tunis", Place(latitude_deg=36.8, elevation_m=4)),
    "brussels": ("Brussels", Place(latitude_deg=50.8, elevation_m=100)),
    "cordoba": ("Cordoba", Place(latitude_deg=37.9, elevation_m=110)),
    "hyderabad": ("Hyderabad", Place(latitude_deg=17.4, elevation_m=540)),
}


@cache
def aquacrop(name: str) -> Series:
    title, place = AQUACROP[name]
    return _series(title, aquacrop_rows(name), place)


@cache
def champion() -> Series:
    return aquacrop("champion")


@cache
def wageningen() -> Series:
    """Drop the doubled days (the first counts), nils and nights warmer than their days."""
    by_day: dict[date, dict[str, float]] = {}
    for on, values in wageningen_rows():
        known = {name: nan if value <= -99 else value for name, value in values.items()}
        if known["tmin_degc"] <= known["tmax_degc"]:
            by_day.setdefault(on, known)
    return _series("Wageningen", sorted(by_day.items()), Place(latitude_deg=51.97, elevation_m=7))


def _series(name: str, rows: list[tuple[date, dict[str, float]]], place: Place) -> Series:
    columns: dict[str, Any] = {
        column: np.array([values[column] for _, values in rows]) for column in rows[0][1]
    }
    weather = daily_weather(np.array([on for on, _ in rows], dtype="datetime64[D]"), **columns)
    result = reference_et(weather, place)
    history = ClimateHistory(weather.day, result.et0_mm, weather.rain_mm)
    return Series(name, history, result.methods, place.latitude_deg)


@dataclass(frozen=True)
class Lag:
    """One batch of the backtest: what was foretold on the day of spreading, and what came."""

    spread_on: date
    lag_p10_d: float
    lag_p50_d: float
    lag_p90_d: float
    observed_d: float
    imbalance_mm: float


HORIZON_D = 210
LAYER = Layer(thickness_m=0.25)
TARGET = DryTarget(0.05)
START_WB_FRAC = drained_moisture_wb_frac(LAYER, 0.15, 36)


@cache
def weekly_lags(series: Series, year: int) -> list[Lag]:
    """Spread a batch on each of the year's weeks; forecast it from the years before it."""
    return [lag_of(series, date(year, 1, 3) + timedelta(weeks=week)) for week in range(52)]


def lag_of(series: Series, spread_on: date) -> Lag:
    """Foretell from past years only; then dry the same layer by the weather that came."""
    members = resample_years(series.history, spread_on, HORIZON_D, np.random.default_rng(1))
    batch = SpreadBatch(LAYER, TARGET, spread_on, START_WB_FRAC, planned_turns_d=1)
    none_yet = np.array([])
    made = forecast_dry(
        batch,
        PadWeather(none_yet, none_yet, members, series.latitude_deg),
        [],
        np.random.default_rng(2),
        n_each=4,
    )
    lags_d = [
        float(HORIZON_D if on is None else (on - spread_on).days)
        for on in (made.dry.quantile(q) for q in (0.1, 0.5, 0.9))
    ]
    came = simulate_drying(
        LAYER,
        initial_moisture_wb_frac=START_WB_FRAC,
        et0_mm=_after(series.history.et0_mm, series, spread_on),
        rain_mm=_after(series.history.rain_mm, series, spread_on),
        turning=batch.turning(_n_after(series, spread_on)),
    )
    dry_d = int(first_dry_day(came, TARGET)[0])
    runs = (made.run, came)
    return Lag(
        spread_on,
        lag_p10_d=lags_d[0],
        lag_p50_d=lags_d[1],
        lag_p90_d=lags_d[2],
        observed_d=nan if dry_d == NOT_DRY else float(dry_d),
        imbalance_mm=max(float(np.abs(run.imbalance_mm).max()) for run in runs),
    )


def _n_after(series: Series, spread_on: date) -> int:
    """Days until the file ends or has a hole, the horizon at most."""
    first = int(np.searchsorted(series.history.day, np.datetime64(spread_on)))
    wanted = np.datetime64(spread_on) + np.arange(HORIZON_D)
    found = series.history.day[first : first + HORIZON_D]
    is_there = (found == wanted[: found.size]) & ~np.isnan(
        series.history.et0_mm[first : first + HORIZON_D]
    )
    return int(found.size if is_there.all() else is_there.argmin())


def _after(values: Any, series: Series, spread_on: date) -> Any:
    first = int(np.searchsorted(series.history.day, np.datetime64(spread_on)))
    return values[first : first + _n_after(series, spread_on)]


def monthly(lags: list[Lag], what: str) -> dict[int, float]:
    """Mean by the month of spreading; batches still wet at the end of the file are left out."""
    return {
        month: float(
            np.nanmean([getattr(lag, what) for lag in lags if lag.spread_on.month == month])
        )
        for month in range(1, 13)
    }


def lag_table(series: Series, year: int) -> str:
    """Predicted dry_on lag in days by month of spreading: the table of "Shown by" 5."""
    lags = weekly_lags(series, year)
    columns = [
        monthly(lags, what) for what in ("lag_p10_d", "lag_p50_d", "lag_p90_d", "observed_d")
    ]
    months = series.history.day.astype("datetime64[M]").astype(int) % 12 + 1
    n_years = series.history.day.size / 365.25
    lines = [
        f"{series.name} {year}: days from spread to dry, members of the years before",
        "month   p10   p50   p90  came  rain_mm  et0_mm",
    ]
    for month in range(1, 13):
        is_month = months == month
        rain_mm = np.nansum(series.history.rain_mm[is_month]) / n_years
        et0_mm = np.nansum(series.history.et0_mm[is_month]) / n_years
        days = "".join(f"{column[month]:6.1f}" for column in columns)
        lines.append(f"{month:5d}{days}{rain_mm:9.0f}{et0_mm:8.0f}")
    return "\n".join(lines)


if __name__ == "__main__":
    print(lag_table(champion(), 2017))
    print(lag_table(wageningen(), 1998))
