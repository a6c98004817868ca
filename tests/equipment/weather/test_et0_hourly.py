"""Hourly reference evapotranspiration against FAO-56's example and an open typical year."""

from datetime import UTC, datetime, timedelta
from importlib.util import find_spec
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pvlib.iotools import read_tmy3

from equipment.weather.calc.checks import check_weather
from equipment.weather.calc.columns import Fault
from equipment.weather.calc.days import DailyWeather, Floats, Place, daily_weather
from equipment.weather.calc.et0 import ET0Method, reference_et
from equipment.weather.calc.et0_hourly import HourSun, extraterrestrial_mj_m2_h, hourly_et0_mm
from equipment.weather.calc.hourly import daily_from_hourly

NDIAYE = Place(latitude_deg=16.22, elevation_m=8, longitude_deg=-16.25)


def arrays(**values: float) -> dict[str, Floats]:
    return {name: np.array([value]) for name, value in values.items()}


def test_fao56_example_19_by_day_and_by_night() -> None:
    # FAO-56 ch. 4, Example 19: N'Diaye, Senegal, 1 October. 14-15 h: Ra 3.543 MJ/m²/h, 0.63 mm/h;
    # 02-03 h with Rs/Rso 0.8: 0.00 mm/h. Its clock: Lz 15° W, Sc 0.1889 h
    day_h, night_h = (clock + 0.0667 * (15 - 16.25) + 0.1889 for clock in (14.5, 2.5))
    ra = extraterrestrial_mj_m2_h(NDIAYE, HourSun(np.array([274.0, 274.0]), np.array([day_h, 2.5])))
    assert ra[0] == pytest.approx(3.543, abs=0.01)
    assert ra[1] == 0
    by_day = hourly_et0_mm(
        NDIAYE,
        HourSun(np.array([274.0]), np.array([day_h])),
        **arrays(temp_degc=38, rh_frac=0.52, wind_2m_m_s=3.3, solar_mj_m2_h=2.450),
    )
    by_night = hourly_et0_mm(
        NDIAYE,
        HourSun(np.array([274.0]), np.array([night_h])),
        **arrays(temp_degc=28, rh_frac=0.90, wind_2m_m_s=1.9, solar_mj_m2_h=0),
    )
    assert by_day[0] == pytest.approx(0.63, abs=0.005)
    assert by_night[0] == pytest.approx(0.00, abs=0.005)


def greensboro() -> tuple[Any, dict[str, Any]]:
    """A typical year of hours, pvlib 0.16.1 (US government data)."""
    spec = find_spec("pvlib")
    assert spec is not None
    assert spec.origin is not None
    path = Path(spec.origin).parent / "data" / "723170TYA.CSV"
    table, about = read_tmy3(path, coerce_year=1990, map_variables=True)
    return table, about


def typical_year() -> tuple[DailyWeather, DailyWeather]:
    """Days with ET0 of their hours, and the same days without."""
    table, about = greensboro()
    first = datetime(1990, 1, 1, 5, tzinfo=UTC)
    columns = (table["temp_air"], table["relative_humidity"], table["wind_speed"], table["ghi"])
    hours = {
        first + timedelta(hours=n): {
            "temp_degc": float(temp),
            "rain_mm": 0.0,
            "rh_frac": float(rh) / 100,
            "wind_2m_m_s": float(wind) * 0.748,  # from 10 m, FAO-56 eq. 47
            "solar_mj_m2_h": float(ghi) * 0.0036,
        }
        for n, (temp, rh, wind, ghi) in enumerate(zip(*columns, strict=True))
    }
    place = Place(about["latitude"], about["altitude"], about["longitude"])
    days = daily_from_hourly(hours, ZoneInfo("Etc/GMT+5"), place)
    columns_of = {name: getattr(days, name) for name in ("tmin_degc", "tmax_degc", "wind_2m_m_s")}
    more = {n: getattr(days, n) for n in ("rh_min_frac", "rh_max_frac", "solar_mj_m2_d")}
    return days, daily_weather(days.day, **columns_of, **more)


def test_hours_of_an_open_year_add_up_to_its_days() -> None:
    # FAO-56 expects sums of hours to agree with the daily equation within some per cent
    days, without = typical_year()
    place = Place(36.1, 270)
    of_hours, of_days = reference_et(days, place), reference_et(without, place)
    assert set(of_hours.methods) == {ET0Method.HOURLY}
    assert set(of_days.methods) == {ET0Method.FULL}
    assert of_hours.et0_mm.sum() == pytest.approx(of_days.et0_mm.sum(), rel=0.06)
    assert np.corrcoef(of_hours.et0_mm, of_days.et0_mm)[0, 1] > 0.97


def test_without_a_longitude_or_with_an_unknown_input_hours_give_no_et0() -> None:
    hour = {"temp_degc": 20.0, "rain_mm": 0.0, "rh_frac": 0.5, "wind_2m_m_s": 2.0}
    first = datetime(2026, 6, 1, tzinfo=UTC)
    for solar, place in ((1.0, Place(40, 0)), (np.nan, NDIAYE)):
        hours = {first + timedelta(hours=n): hour | {"solar_mj_m2_h": solar} for n in range(24)}
        assert np.isnan(daily_from_hourly(hours, ZoneInfo("UTC"), place).et0_of_hours_mm).all()


@given(
    temp_degc=st.floats(0, 40),
    rh_frac=st.floats(0.2, 0.95),
    wind_m_s=st.floats(0.5, 10),
    more=st.floats(0.05, 1.0),
)
def test_et0_of_an_hour_grows_with_the_sun(
    temp_degc: float, rh_frac: float, wind_m_s: float, more: float
) -> None:
    sun = HourSun(np.array([172.0, 172.0]), np.array([12.0, 12.0]))
    made = hourly_et0_mm(
        Place(40, 0),
        sun,
        temp_degc=np.full(2, temp_degc),
        rh_frac=np.full(2, rh_frac),
        wind_2m_m_s=np.full(2, wind_m_s),
        solar_mj_m2_h=np.array([1.5, 1.5 + more]),
    )
    assert np.isfinite(made).all()
    assert made[1] > made[0]


@pytest.mark.parametrize(
    ("name", "value"), [("rh_frac", 52.0), ("wind_2m_m_s", -1.0), ("solar_mj_m2_h", -0.1)]
)
def test_nonsense_is_refused_by_name(name: str, value: float) -> None:
    usual = {"temp_degc": 20.0, "rh_frac": 0.5, "wind_2m_m_s": 2.0, "solar_mj_m2_h": 1.0}
    with pytest.raises(ValueError, match=name):
        hourly_et0_mm(
            Place(40, 0),
            HourSun(np.array([172.0]), np.array([12.0])),
            **arrays(**(usual | {name: value})),
        )


@pytest.mark.trade_check("T8")
def test_open_rain_in_tenths_is_questioned() -> None:
    # pvlib's TMY3 file says millimetres but sums to 8 345 a year, 500 in one hour: tenths
    table, _about = greensboro()
    rain = table.filter(like="Lprecip").iloc[:, 0].to_numpy(dtype=float)
    rain = np.where(rain < 0, 0.0, rain)
    assert rain.sum() == pytest.approx(8345, abs=1)
    first = datetime(1990, 1, 1, tzinfo=UTC)
    stamps = [(first + timedelta(hours=n)).strftime("%Y-%m-%dT%H:%M") for n in range(rain.size)]
    for factor, is_doubted in ((1.0, True), (0.1, False)):
        checked = check_weather(
            ["hour_start_local", "temp_degc", "rain_mm"],
            [(n, [stamps[n], "15", f"{mm * factor:.1f}"]) for n, mm in enumerate(rain)],
            place=Place(36.1, 270),
            zone=ZoneInfo("Etc/GMT+5"),
        )
        found = {fault.fault for fault in checked.faults}
        assert (Fault.RAIN_LOOKS_LIKE_TENTHS in found) is is_doubted
        assert (checked.days.n_days == 0) is is_doubted
