"""Every broken weather file is told from every other, by line, and its rows are not used."""

from collections import Counter
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from refet import calcs

from equipment.weather.calc.checks import CheckedWeather, check_weather
from equipment.weather.calc.columns import DAILY, HOURLY, Fault
from equipment.weather.calc.days import Place, days_from
from tests.schedules.sand.open_weather import champion_rows, wageningen_rows

DENVER = ZoneInfo("America/Denver")
HIGH_PLAINS = Place(latitude_deg=38.6, elevation_m=1190)
HEAD = "date,tmin_degc,tmax_degc,rain_mm,rh_min_frac,rh_max_frac,wind_2m_m_s,solar_mj_m2_d"
SOUND = [
    "2026-06-01,11.5,29.0,0.0,0.25,0.80,3.1,27.0",
    "2026-06-02,12.0,30.5,4.2,0.30,0.90,2.4,24.5",
    "2026-06-03,10.1,27.7,0,,,,",
]


def check(text: str, today_on: date | None = None) -> CheckedWeather:
    """Split the text of a file as an importer would, one line after the other."""
    head, *lines = [line.split(",") for line in text.splitlines()] or [[""]]
    return check_weather(
        head, enumerate(lines, start=2), place=HIGH_PLAINS, zone=DENVER, today_on=today_on
    )


def with_row(index: int, row: str) -> str:
    rows = [*SOUND]
    rows[index] = row
    return "\n".join([HEAD, *rows])


def found(checked: CheckedWeather) -> list[tuple[int, str, str, str]]:
    return [(f.line_no, str(f.fault), f.column, f.value) for f in checked.faults]


def test_a_sound_file_is_used_whole_and_blanks_stay_unknown() -> None:
    checked = check("\n".join([HEAD, *SOUND]))
    assert checked.faults == ()
    assert (checked.n_rows, checked.n_used) == (3, 3)
    assert checked.days.rain_mm.tolist() == [0.0, 4.2, 0.0]
    assert np.isnan(checked.days.wind_2m_m_s).tolist() == [False, False, True]
    assert checked.days.day.tolist() == days_from(date(2026, 6, 1), 3).tolist()


def test_columns_may_come_in_any_order() -> None:
    checked = check("rain_mm,date,tmax_degc,tmin_degc\n1.5,2026-06-01,30,12")
    assert checked.faults == ()
    assert (checked.days.tmin_degc[0], checked.days.rain_mm[0]) == (12, 1.5)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", (1, "bad_header", "", "")),
        ("2026-06-01,11.5,29.0\n2026-06-02,12,30", (1, "bad_header", "", "2026-06-01,11.5,29.0")),
        ("date,tmin_degc,tmin_degc,rain_mm", (1, "bad_header", "", "tmin_degc")),
        (HEAD, (1, "empty", "", "")),
        ("date,tmin_degc,rain_mm\n2026-06-01,3,0", (1, "missing_column", "tmax_degc", "")),
        ("date,tmin_degc,tmax_degc,rain_mm,gust_mph\n", (1, "unknown_column", "gust_mph", "")),
    ],
)
def test_a_wrong_head_is_told_and_nothing_is_read(
    text: str, expected: tuple[int, str, str, str]
) -> None:
    checked = check(text)
    assert found(checked) == [expected]
    assert checked.days.n_days == checked.n_used == 0


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ("2026-06-02,12.0,30.5,4.2", ("wrong_cell_count", "", "4")),
        ("06/02/2026,12.0,30.5,4.2,,,,", ("bad_date", "", "06/02/2026")),
        ("2026-06-31,12.0,30.5,4.2,,,,", ("bad_date", "", "2026-06-31")),
        ("20260602,12.0,30.5,4.2,,,,", ("bad_date", "", "20260602")),
        ("2026-06-02,12.0,30.5,,,,,", ("blank_number", "rain_mm", "")),
        ("2026-06-02,12.0,n/a,4.2,,,,", ("not_a_number", "tmax_degc", "n/a")),
        ("2026-06-02,12.0,nan,4.2,,,,", ("not_a_number", "tmax_degc", "nan")),
        ("2026-06-02,1_0,30.5,4.2,,,,", ("not_a_number", "tmin_degc", "1_0")),
        ("2026-06-02,53.6,86.9,4.2,,,,", ("temperature_out_of_range", "tmax_degc", "86.9")),
        ("2026-06-02,30.5,12.0,4.2,,,,", ("tmin_above_tmax", "tmin_degc", "30.5 > 12")),
        ("2026-06-02,12.0,30.5,-0.2,,,,", ("rain_negative", "rain_mm", "-0.2")),
        ("2026-06-02,12.0,30.5,500.1,,,,", ("rain_too_large", "rain_mm", "500.1")),
        ("2026-06-02,12.0,30.5,4.2,-0.1,0.9,,", ("humidity_negative", "rh_min_frac", "-0.1")),
        ("2026-06-02,12.0,30.5,4.2,0.3,1.02,,", ("humidity_above_one", "rh_max_frac", "1.02")),
        ("2026-06-02,12.0,30.5,4.2,0.3,90,,", ("humidity_in_percent", "rh_max_frac", "90")),
        (
            "2026-06-02,12.0,30.5,4.2,0.9,0.3,,",
            ("humidity_min_above_max", "rh_min_frac", "0.9 > 0.3"),
        ),
        ("2026-06-02,12.0,30.5,4.2,,,-2.4,", ("wind_negative", "wind_2m_m_s", "-2.4")),
        ("2026-06-02,12.0,30.5,4.2,,,41,", ("wind_too_strong", "wind_2m_m_s", "41")),
        ("2026-06-02,12.0,30.5,4.2,,,,-1", ("radiation_negative", "solar_mj_m2_d", "-1")),
        ("2026-06-02,12,30,4.2,,,,36.5", ("radiation_above_clear_sky", "solar_mj_m2_d", "36.5")),
        ("2026-06-02,12,30,4.2,,,,290", ("radiation_above_clear_sky", "solar_mj_m2_d", "290")),
    ],
)  # fmt: skip
def test_a_broken_row_is_told_by_line_and_not_used(
    row: str, expected: tuple[str, str, str]
) -> None:
    checked = check(with_row(1, row))
    assert found(checked) == [(3, *expected)]
    assert checked.n_used == 2
    assert np.datetime64("2026-06-02") not in checked.days.day


def test_of_a_doubled_day_neither_row_is_used() -> None:
    checked = check("\n".join([HEAD, *SOUND, "2026-06-02,1,2,3,,,,"]))
    assert found(checked) == [(5, "duplicate", "", "2026-06-02")]
    assert checked.days.day.tolist() == [date(2026, 6, 1), date(2026, 6, 3)]
    assert (checked.n_rows, checked.n_used) == (4, 2)


def test_an_unordered_day_is_told_once_and_is_no_gap() -> None:
    checked = check("\n".join([HEAD, SOUND[0], SOUND[2], SOUND[1]]))
    assert found(checked) == [(4, "unordered", "", "2026-06-02")]
    assert checked.n_used == 2


def test_a_mistyped_year_does_not_condemn_the_rows_after_it() -> None:
    early = check("\n".join([HEAD, *SOUND, "1926-06-04,1,2,3,,,,", "2026-06-05,1,2,3,,,,"]))
    assert found(early) == [
        (5, "unordered", "", "1926-06-04"),
        (6, "gap", "", "2026-06-04/2026-06-04"),
    ]
    late = check(with_row(1, "2062-06-02,12,30,4,,,,"), today_on=date(2026, 6, 30))
    assert found(late) == [(3, "in_future", "", "2062-06-02")]


def test_a_gap_is_told_at_the_row_after_it_and_the_rows_are_used() -> None:
    checked = check("\n".join([HEAD, *SOUND, "2026-06-08,12,30,0,,,,"]))
    assert found(checked) == [(5, "gap", "", "2026-06-04/2026-06-07")]
    assert checked.n_used == 4


def test_ranges_reach_vapour_pressure_and_given_et0() -> None:
    checked = check(
        "date,tmin_degc,tmax_degc,rain_mm,ea_kpa,et0_mm\n2026-06-01,3,9,0,12,5\n2026-06-02,3,9,0,1,26"
    )
    assert found(checked) == [
        (2, "vapour_pressure_out_of_range", "ea_kpa", "12"),
        (3, "et0_out_of_range", "et0_mm", "26"),
    ]


def csv_of(rows: list[tuple[date, dict[str, float]]]) -> str:
    names = list(rows[0][1])
    lines = [
        ",".join([day.isoformat(), *(f"{values[n]:.2f}" for n in names)]) for day, values in rows
    ]
    return "\n".join([",".join(["date", *names]), *lines])


def test_open_files_pass_as_they_are_and_their_rain_in_tenths_does_not() -> None:
    # aquacrop's champion_climate.txt: 414 mm a year; in tenths it would read 4 140
    rows = champion_rows()[-730:]
    sound = check(csv_of(rows))
    assert sound.faults == ()
    assert sound.n_used == 730
    tenths = check(csv_of([(day, v | {"rain_mm": v["rain_mm"] * 10}) for day, v in rows]))
    assert {fault.fault for fault in tenths.faults} >= {Fault.RAIN_LOOKS_LIKE_TENTHS}
    assert tenths.days.n_days == 0


def test_the_faults_of_an_open_series_are_found_and_no_others() -> None:
    # pcse's Wageningen files, 1976-1999, counted without our code: 8 732 rows of 8 644 days, none
    # for September to December 1991, 5 without wind, 2 with tmin above tmax; 1 passes 1.1 Rso
    rows = wageningen_rows()
    names = ["tmin_degc", "tmax_degc", "rain_mm", "wind_2m_m_s", "solar_mj_m2_d"]
    checked = check_weather(
        ["date", *names],
        [
            (line_no, [day.isoformat(), *(f"{values[name]:.3f}" for name in names)])
            for line_no, (day, values) in enumerate(rows, start=2)
        ],
        place=Place(latitude_deg=51.97, elevation_m=7),
        zone=ZoneInfo("Europe/Amsterdam"),
    )
    assert Counter(fault.fault for fault in checked.faults) == {
        Fault.DUPLICATE: len(rows) - len({day for day, _ in rows}),
        Fault.GAP: 1,
        Fault.WIND_NEGATIVE: 5,
        Fault.TMIN_ABOVE_TMAX: sum(v["tmin_degc"] > v["tmax_degc"] for _, v in rows),
        Fault.RADIATION_ABOVE_CLEAR_SKY: 1,
    }
    assert [f.value for f in checked.faults if f.fault is Fault.GAP] == ["1991-09-01/1991-12-31"]


HOUR_HEAD = "hour_start_local,temp_degc,rain_mm,rh_frac,wind_2m_m_s,solar_mj_m2_h"


def hours(first_utc: datetime, n_hours: int, *, as_utc: bool = False) -> list[str]:
    """Lines as a logger on Denver's wall clock writes them, or with offsets."""
    moments = [first_utc + timedelta(hours=n) for n in range(n_hours)]
    shown = [m if as_utc else m.astimezone(DENVER).replace(tzinfo=None) for m in moments]
    return [
        f"{moment.isoformat(timespec='minutes')},{10 + n % 7},0.1,0.5,2,1.0"
        for n, moment in enumerate(shown)
    ]


SPRING = datetime(2026, 3, 8, 7, tzinfo=UTC)  # midnight in Denver; 02:00 does not exist
AUTUMN = datetime(2026, 11, 1, 6, tzinfo=UTC)  # midnight in Denver; 01:00 comes twice


@pytest.mark.parametrize("as_utc", [False, True])
@pytest.mark.parametrize(("midnight", "n_hours"), [(SPRING, 23), (AUTUMN, 25)])
def test_hours_across_a_clock_change_make_one_whole_day(
    midnight: datetime, n_hours: int, as_utc: bool
) -> None:
    checked = check("\n".join([HOUR_HEAD, *hours(midnight, n_hours, as_utc=as_utc)]))
    assert checked.faults == ()
    assert checked.days.day.tolist() == [midnight.astimezone(DENVER).date()]
    assert checked.days.rain_mm[0] == pytest.approx(0.1 * n_hours)
    assert checked.days.solar_mj_m2_d[0] == pytest.approx(n_hours)
    assert (checked.days.tmin_degc[0], checked.days.tmax_degc[0]) == (10, 16)


def test_an_hour_in_the_spring_gap_does_not_exist() -> None:
    lines = hours(SPRING, 23)
    lines.insert(2, "2026-03-08T02:00,9,0,0.5,2,0")
    checked = check("\n".join([HOUR_HEAD, *lines]))
    assert found(checked) == [(4, "no_such_local_time", "", "2026-03-08T02:00")]
    assert checked.days.n_days == 1


def test_a_third_pass_of_the_autumn_hour_is_a_duplicate() -> None:
    lines = hours(AUTUMN, 25)
    lines.insert(3, lines[2])
    checked = check("\n".join([HOUR_HEAD, *lines]))
    assert [(f.line_no, f.fault) for f in checked.faults] == [(5, Fault.DUPLICATE)]


def test_a_file_left_on_winter_time_lacks_the_second_autumn_hour() -> None:
    lines = hours(AUTUMN, 25)
    del lines[2]
    checked = check("\n".join([HOUR_HEAD, *lines]))
    assert found(checked) == [(4, "gap", "", "2026-11-01T08:00:00+00:00/2026-11-01T08:00:00+00:00")]
    assert checked.days.n_days == 0


@pytest.mark.parametrize("text", ["2026-03-08T05:30", "2026-03-08", "8 am"])
def test_a_stamp_that_is_not_the_beginning_of_an_hour_is_refused(text: str) -> None:
    checked = check(f"{HOUR_HEAD}\n{text},9,0,0.5,2,0")
    assert found(checked) == [(2, "bad_time", "", text)]


def test_hours_of_a_rain_year_in_tenths_are_told() -> None:
    # pvlib's TMY3 file says millimetres but sums to 8 345 a year: tenths. Here a made-up wet month.
    lines = [
        line.replace(",0.1,", ",20,") if n % 24 in (7, 8) else line.replace(",0.1,", ",0,")
        for n, line in enumerate(hours(datetime(2026, 6, 1, 6, tzinfo=UTC), 24 * 30))
    ]
    checked = check("\n".join([HOUR_HEAD, *lines]))
    assert [(f.fault, f.value) for f in checked.faults] == [
        (Fault.RAIN_LOOKS_LIKE_TENTHS, "mean of 30 wet days 40.0")
    ]


def test_column_names_carry_their_units_and_are_those_of_the_arrays() -> None:
    assert DAILY.required == ("date", "tmin_degc", "tmax_degc", "rain_mm")
    assert HOURLY.required == ("hour_start_local", "temp_degc", "rain_mm")


def test_the_clear_sky_limit_is_fao56_eq_37_with_a_tenth_more() -> None:
    rso = float(calcs.rso_simple(calcs.ra_daily(np.radians(38.6), np.array([153])), 1190)[0])
    for solar, n_faults in ((rso * 1.099, 0), (rso * 1.101, 1)):
        checked = check(with_row(1, f"2026-06-02,12.0,30.5,4.2,,,,{solar:.4f}"))
        assert len(checked.faults) == n_faults
