"""A typical year by the hour (pvlib 0.16.1, 723170TYA.CSV, Greensboro NC, US government data).

It asks what is lost where only a day's sums are known: the same layers dried by the hours as they
were, by the sums laid over the hours as the forecast does it, and by whole days in one step.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from importlib.util import find_spec
from pathlib import Path

import numpy as np
from pvlib.iotools import read_tmy3
from refet import Hourly

from equipment.weather.calc.subdaily import draw_storms, sun_shares
from schedules.sand.calc.drying import NOT_DRY, Turning, first_dry_day, simulate_drying
from schedules.sand.calc.layer import Floats
from schedules.sand.calc.pad import SpreadBatch

YEAR, HORIZON_D, STEP_D = 1990, 60, 2


@cache
def greensboro() -> tuple[Floats, Floats, float]:
    """ET0 and rain of each hour, shape (365, 24), by local standard time; and the latitude."""
    spec = find_spec("pvlib")
    assert spec is not None
    assert spec.origin is not None
    path = Path(spec.origin).parent / "data" / "723170TYA.CSV"
    rows, about = read_tmy3(str(path), coerce_year=YEAR, map_variables=True)
    hour = np.arange(rows.shape[0])  # the stamp is the hour's end
    et0_mm = Hourly(
        tmean=rows["temp_air"].to_numpy(),
        rs=rows["ghi"].to_numpy() * 0.0036,  # W/m² to MJ/m²/h
        uz=rows["wind_speed"].to_numpy(),
        zw=10,
        elev=np.full(hour.size, about["altitude"]),
        lat=np.full(hour.size, about["latitude"]),
        lon=np.full(hour.size, about["longitude"]),
        doy=hour // 24 + 1,
        time=(hour + 5) % 24,
        tdew=rows["temp_dew"].to_numpy(),
    ).eto()
    # tenths of a millimetre, whatever the head says: the year is 834 mm, no hour 500 (trap T8)
    rain_mm = np.maximum(rows["Lprecip depth (mm)"].to_numpy(dtype=float), 0) / 10
    shape = (-1, 24)
    return np.maximum(et0_mm, 0).reshape(shape), rain_mm.reshape(shape), about["latitude"]


@dataclass(frozen=True)
class Compared:
    """Dates from a day's sums against those from its hours, over all starts of the year."""

    n: int
    same_frac: float
    off_mean_d: float
    later_mean_d: float


def compare(batch: SpreadBatch, *, whole_days: bool) -> Compared:
    """Spread a layer every second day, and dry it by the hours and by the sums."""
    et0_mm, rain_mm, latitude_deg = greensboro()
    rng = np.random.default_rng(20261125)
    off_d = []
    for first in range(0, 365 - HORIZON_D, STEP_D):
        days = slice(first, first + HORIZON_D)
        by_hour = dry_day(batch, et0_mm[days].ravel(), rain_mm[days].ravel(), 1)
        day_et0_mm, day_rain_mm = et0_mm[days].sum(axis=1), rain_mm[days].sum(axis=1)
        if whole_days:
            day_et0_mm[0] = et0_mm[first, batch.spread_h :].sum()
            off_d.append(dry_day(batch, day_et0_mm, day_rain_mm, 24) - by_hour)
            continue
        sun = sun_shares(date(YEAR, 1, 1) + timedelta(days=first), HORIZON_D, latitude_deg)
        storms = draw_storms((HORIZON_D,), rng).hourly_mm(day_rain_mm)
        off_d.append(
            dry_day(batch, (day_et0_mm[:, None] * sun).ravel(), storms.ravel(), 1) - by_hour
        )
    off = np.array(off_d)
    return Compared(
        n=off.size,
        same_frac=float((off == 0).mean()),
        off_mean_d=float(np.abs(off).mean()),
        later_mean_d=float(off.mean()),
    )


def dry_day(batch: SpreadBatch, et0_mm: Floats, rain_mm: Floats, step_h: int) -> int:
    run = simulate_drying(
        batch.layer,
        initial_moisture_wb_frac=batch.moisture_wb_frac,
        et0_mm=et0_mm,
        rain_mm=rain_mm,
        turning=Turning((1,) * HORIZON_D, batch.turned_depth_m),
        step_h=step_h,
        start_step=batch.spread_h if step_h == 1 else 0,
    )
    day = int(first_dry_day(run, batch.target)[0])
    return HORIZON_D if day == NOT_DRY else day


def lines(batch: SpreadBatch) -> list[str]:
    said = []
    for name, whole_days in (("sums laid over the hours", False), ("whole days in one step", True)):
        c = compare(batch, whole_days=whole_days)
        said.append(
            f"| {name} | {c.n} | {100 * c.same_frac:.0f} | {c.off_mean_d:.2f} | "
            f"{c.later_mean_d:+.2f} |"
        )
    return said
