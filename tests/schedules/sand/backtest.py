"""`python -m tests.schedules.sand.backtest`: rolling dry_on forecasts through open weather years.

It writes `backtest.md` beside it. It tests how the uncertainty of weather is carried, and not the
physics of drying, for which no open data were found: what "came" is the same model under the
weather that came. Twice: with the sand as the forecast believes it, and with sand, start and pad
drawn anew for each batch, of which the forecast knows only the spread. A third run shows what a
forecast would be worth that believed its own settings to the letter.
"""

import math
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from equipment.site.calc.scores import crps, hit_share, rank_pit
from equipment.weather.calc.members import ClimateHistory, resample_years
from equipment.weather.calc.subdaily import draw_storms, sun_shares
from schedules.sand.calc.drying import NOT_DRY, DryTarget, first_dry_day, simulate_drying
from schedules.sand.calc.forecast import forecast_dry
from schedules.sand.calc.layer import Floats, Layer, drained_moisture_wb_frac
from schedules.sand.calc.pad import PadWeather, SpreadBatch
from schedules.sand.calc.rate import PadRate
from tests.schedules.sand import hourly_year
from tests.schedules.sand.open_weather import AQUACROP, Series, aquacrop, wageningen

TABLE = Path(__file__).with_name("backtest.md")
HORIZON_D, MIN_YEARS, STEP_D = 120, 10, 7
SMALL_STEP_D = 126  # of the row that the tests make anew
LAYER = Layer(thickness_m=0.25)
BATCH = SpreadBatch(
    layer=LAYER,
    target=DryTarget(0.05),
    spread_on=date(2000, 1, 1),
    moisture_wb_frac=drained_moisture_wb_frac(LAYER, 0.15, 36),
    spread_h=11,
    planned_turns_d=1,
)
CERTAIN = replace(
    BATCH, moisture_sd_frac=0.0, capacity_sd_frac=0.0, rate=PadRate(0.0, 0.0, batch_sd=0.0)
)


@dataclass(frozen=True)
class Run:
    """What the forecast believes, what the truth is drawn from, particles a member."""

    name: str
    believed: SpreadBatch
    truth: SpreadBatch
    n_each: int


WEATHER_ALONE = Run("weather alone", CERTAIN, CERTAIN, 1)
PERTURBED = Run("sand and pad drawn too", BATCH, BATCH, 4)
TOO_SURE = Run("drawn, but believed known", CERTAIN, BATCH, 1)
RUNS = (WEATHER_ALONE, PERTURBED, TOO_SURE)


@dataclass(frozen=True)
class Scored:
    """One forecast against what came; days from spreading."""

    year: int
    came_d: float
    pit: float
    crps_d: float
    of_climate_d: float
    of_et0_d: float


def forecasts(series: Series, run: Run, step_d: int, *, leave_one_out: bool) -> Iterator[Scored]:
    """Spread a batch every so many days and foretell it, where its own weather is all on record."""
    history = series.history
    start = history.day[0].item()
    first_on = start if leave_one_out else start.replace(year=start.year + MIN_YEARS)
    on = first_on + timedelta(days=STEP_D)
    while on + timedelta(days=HORIZON_D) <= history.day[-1].item():
        came = _window(history, on, HORIZON_D)
        before = _window(history, on - timedelta(days=7), 7)
        if came is not None and before is not None:
            known = _others(history, on) if leave_one_out else history
            yield _score(series, known, run, on, came, before[0])
        on += timedelta(days=step_d)


def _window(history: ClimateHistory, on: date, n_days: int) -> tuple[Floats, Floats] | None:
    """ET0 and rain of some days; None where one is not on record."""
    first = int(np.searchsorted(history.day, np.datetime64(on)))
    part = slice(first, first + n_days)
    is_whole = history.day[part].size == n_days and history.day[first] == np.datetime64(on)
    is_whole = is_whole and (history.day[part][-1] - history.day[first]).astype(int) == n_days - 1
    et0_mm, rain_mm = history.et0_mm[part], history.rain_mm[part]
    if not is_whole or np.isnan(et0_mm).any() or np.isnan(rain_mm).any():
        return None
    return et0_mm, rain_mm


def _others(history: ClimateHistory, on: date) -> ClimateHistory:
    """All other years, the later ones set back by 28, after which weekdays and leap years recur."""
    gap = np.timedelta64(HORIZON_D, "D")
    is_before = history.day < np.datetime64(on) - gap
    is_after = history.day > np.datetime64(on) + 2 * gap
    back = np.timedelta64(28 * 365 + 7, "D")
    order = [np.flatnonzero(is_after), np.flatnonzero(is_before)]
    rows = np.concatenate(order)
    day = np.concatenate([history.day[order[0]] - back, history.day[order[1]]])
    return ClimateHistory(day, history.et0_mm[rows], history.rain_mm[rows])


def _score(
    series: Series,
    known: ClimateHistory,
    run: Run,
    on: date,
    came: tuple[Floats, Floats],
    week_et0_mm: Floats,
) -> Scored:
    rng = np.random.default_rng([zlib.crc32(series.name.encode()), on.toordinal()])
    latitude_deg = series.latitude_deg
    none_yet = np.array([])
    weather = PadWeather(
        none_yet, none_yet, resample_years(known, on, HORIZON_D, rng), latitude_deg
    )
    made = forecast_dry(replace(run.believed, spread_on=on), weather, [], rng, n_each=run.n_each)
    days = np.where(made.dry.offset_d == NOT_DRY, HORIZON_D, made.dry.offset_d).astype(float)
    truth = replace(run.truth, spread_on=on)
    came_d = _dry_d(truth, came[0], came[1], latitude_deg, rng)
    calm_mm = np.full(HORIZON_D, week_et0_mm.mean())
    plain = replace(CERTAIN, spread_on=on)
    by_et0_d = _dry_d(plain, calm_mm, 0 * calm_mm, latitude_deg, rng)
    return Scored(
        year=on.year,
        came_d=came_d,
        pit=rank_pit(days, came_d, rng),
        crps_d=crps(days, came_d),
        of_climate_d=abs(days.mean() - came_d),
        of_et0_d=abs(by_et0_d - came_d),
    )


def _dry_d(
    batch: SpreadBatch,
    et0_mm: Floats,
    rain_mm: Floats,
    latitude_deg: float,
    rng: np.random.Generator,
) -> float:
    """Dry one layer, drawn from what is not certain of it, by one run of days."""
    sun = sun_shares(batch.spread_on, HORIZON_D, latitude_deg)
    drawn = rng.standard_normal(3)
    moisture = batch.moisture_wb_frac + batch.moisture_sd_frac * drawn[0]
    capacity = batch.layer.theta_fc_frac + batch.capacity_sd_frac * drawn[1]
    dried = simulate_drying(
        batch.layer,
        initial_moisture_wb_frac=max(moisture, 0.001),
        et0_mm=(et0_mm[:, None] * sun).ravel(),
        rain_mm=draw_storms((HORIZON_D,), rng).hourly_mm(rain_mm).ravel(),
        turning=batch.turning(HORIZON_D),
        theta_fc_frac=np.clip([capacity], 0.06, 0.36),
        rate_frac=math.exp(batch.rate.log_mean + batch.rate.batch_log_sd * drawn[2]),
        step_h=1,
        start_step=batch.spread_h,
    )
    dry_d = int(first_dry_day(dried, batch.target)[0])
    return float(HORIZON_D if dry_d == NOT_DRY else dry_d)


@dataclass(frozen=True)
class Row:
    """One line of the table."""

    place: str
    years: str
    run: str
    n: int
    came_p50_d: float
    came_p90_d: float
    hit_pct: float
    hit_se_pct: float
    crps_d: float
    climate_d: float
    et0_d: float

    def text(self) -> str:
        return (
            f"| {self.place} | {self.years} | {self.run} | {self.n} | {self.came_p50_d:.0f} | "
            f"{self.came_p90_d:.0f} | {self.hit_pct:.1f} ± {self.hit_se_pct:.1f} | "
            f"{self.crps_d:.2f} | {self.climate_d:.2f} | {self.et0_d:.2f} |"
        )


def row_of(series: Series, run: Run, step_d: int = STEP_D) -> Row:
    n_years = (series.history.day[-1] - series.history.day[0]).astype(int) / 365.25
    leave_one_out = bool(n_years < 2 * MIN_YEARS)
    scored = list(forecasts(series, run, step_d, leave_one_out=leave_one_out))
    years = sorted({s.year for s in scored})
    by_year = [hit_share(np.array([s.pit for s in scored if s.year == year])) for year in years]
    came_d = np.array([s.came_d for s in scored])
    return Row(
        place=series.name,
        years=f"{years[0]}-{years[-1]}{', all others' if leave_one_out else ''}",
        run=run.name,
        n=len(scored),
        came_p50_d=float(np.quantile(came_d, 0.5)),
        came_p90_d=float(np.quantile(came_d, 0.9)),
        hit_pct=100 * hit_share(np.array([s.pit for s in scored])),
        hit_se_pct=100 * float(np.std(by_year, ddof=1)) / math.sqrt(len(years)),
        crps_d=float(np.mean([s.crps_d for s in scored])),
        climate_d=float(np.mean([s.of_climate_d for s in scored])),
        et0_d=float(np.mean([s.of_et0_d for s in scored])),
    )


CLIMATES: tuple[Callable[[], Series], ...] = (
    *(lambda name=name: aquacrop(name) for name in AQUACROP),
    wageningen,
)


def small_rows() -> list[Row]:
    """Few forecasts of two climates: what the tests make anew."""
    return [row_of(aquacrop(name), PERTURBED, SMALL_STEP_D) for name in ("champion", "tunis")]


def table() -> str:
    lines = [row_of(climate(), run).text() for run in RUNS for climate in CLIMATES]
    small = [row.text() for row in small_rows()]
    hourly = hourly_year.lines(BATCH)
    parts = (HEAD + "\n".join(lines), SMALL_HEAD + "\n".join(small), HOURLY_HEAD)
    return "\n\n".join(parts) + "\n".join(hourly) + "\n"


COLUMNS = (
    "| place | years | run | forecasts | dry after, median d | 90 % d | in the 80 % range, % "
    "| CRPS d | climate mean d | ET0 of that week d |\n|" + " --- |" * 10 + "\n"
)
HEAD = f"""# Backtest of dry_on

Made by `python -m tests.schedules.sand.backtest`; do not edit.

It tests how the uncertainty of weather is carried, and not the physics of drying, for which no open
data were found: what came is the same model under the weather that came. A layer of
{LAYER.thickness_m} m is spread every week at 11 h and turned once a day; dry is 5 % by wet mass;
the horizon is {HORIZON_D} days, and what is not dry by then counts as dry on its last day.
Members are the same season of past years alone, {MIN_YEARS} at least; of a record shorter than
{2 * MIN_YEARS} years all other years ("all others"). Hours: ET0 by the sun's path, each day's rain
as one storm at an hour drawn, the truth's too.

Dates are whole days, and many forecasts of a dry summer have two or three in all. So the share in
the 80 % range counts ranks with ties parted at random: with b of n members before the date that
came, e on it and u uniform in 0..1, the rank is (b + u (e + 1)) / (n + 1), and a hit is 0.1 to 0.9.
Closed ranges of whole dates would hold more. ± is the standard error over years.
CRPS in days; that of a single date is its distance, so part of what a range gains over the two
single dates is that it is a range. "climate mean": mean days to dry of that week
in the members' years. "ET0 of that week": the mean ET0 of the seven days before, without rain.

Runs: "{WEATHER_ALONE.name}": sand and pad as the forecast believes. "{PERTURBED.name}": start
moisture, field capacity and rate of each batch drawn, the forecast knows their spread alone.
"{TOO_SURE.name}": the same truth, foretold as if the settings were exact; to be missed, and shown
for what the spread is worth.

"""
HEAD += COLUMNS
SMALL_HEAD = f"""One batch in {SMALL_STEP_D} days, which a test makes anew:

{COLUMNS}"""
HOURLY_HEAD = """What is lost where only a day's sums are known, by the hours of a typical year
(pvlib 0.16.1, Greensboro NC; ET0 by refet, rain taken as tenths of a millimetre): days by which
dry_on differs from that by the hours themselves.

| dried by | starts | same day, % | off by, mean d | later by, mean d |
| --- | --- | --- | --- | --- |
"""


if __name__ == "__main__":
    TABLE.write_text(table(), encoding="utf-8")
    print(TABLE.read_text(encoding="utf-8"))
