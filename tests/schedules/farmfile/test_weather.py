"""Weather from a file: ET0 where it is not given, the newest word, nothing twice."""

import json
from datetime import UTC, datetime
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from equipment.site.models import Change, Site
from equipment.site.queries import site_version
from equipment.weather.models import WeatherDay, WeatherStation
from schedules.farmfile.document import read_document
from schedules.farmfile.services import load_site
from schedules.farmfile.weather import import_weather

HERE = Path(__file__).parent
AT = datetime(2026, 11, 25, 15, tzinfo=UTC)
HEAD = "date,tmin_degc,tmax_degc,rain_mm\n"


@pytest.fixture
def station(db: None) -> WeatherStation:
    load_site(document=read_document(HERE / "small.yaml"), at=AT)
    return WeatherStation.objects.get()


def record(station: WeatherStation, text: str) -> tuple[int, int]:
    report = import_weather(station=station, raw=text.encode(), file="days.csv", at=AT)
    assert report.faults == ()
    return report.n_new, report.n_changed


def test_et0_is_computed_where_it_is_not_given_and_says_what_it_rests_on(
    station: WeatherStation,
) -> None:
    """FAO-56 eq. 52 (Hargreaves) gives 3.7 mm with Ra 33.5 MJ/m²: a check on the size only."""
    record(station, f"{HEAD}2026-04-10,2,19,0\n")

    day = WeatherDay.objects.get()
    assert day.et0_method == "temperatures_only"
    assert 2.5 < day.et0_mm < 4.5


def test_et0_of_the_file_is_taken_as_it_is(station: WeatherStation) -> None:
    record(station, "date,tmin_degc,tmax_degc,rain_mm,et0_mm\n2026-04-10,2,19,0,5.25\n")

    day = WeatherDay.objects.get()
    assert (day.et0_mm, day.et0_method) == (5.25, "given")


def test_the_same_file_twice_changes_nothing(station: WeatherStation) -> None:
    text = f"{HEAD}2026-04-10,2,19,0\n2026-04-11,3,20,1.5\n"
    assert record(station, text) == (2, 0)
    before = site_version(station.site_id)

    assert record(station, text) == (0, 0)
    assert site_version(station.site_id) == before


def test_a_corrected_day_replaces_the_one_before(station: WeatherStation) -> None:
    record(station, f"{HEAD}2026-04-10,2,19,0\n2026-04-11,3,20,1.5\n")

    assert record(station, f"{HEAD}2026-04-11,3,20,15\n") == (0, 1)
    assert WeatherDay.objects.get(on="2026-04-11").rain_mm == 15
    assert Change.objects.filter(topic="weather.imported").count() == 2


def test_hours_make_days_only_when_all_of_them_are_there(station: WeatherStation) -> None:
    """2026-03-08 has 23 hours in Denver (tzdata 2026)."""
    hours = [f"2026-03-08T{hour:02d}:00,5,0.1" for hour in range(24) if hour != 2]
    hours += ["2026-03-09T00:00,4,0"]
    report = import_weather(
        station=station,
        raw="\n".join(["hour_start_local,temp_degc,rain_mm", *hours]).encode(),
        file="hours.csv",
        at=AT,
    )

    day = WeatherDay.objects.get()
    assert report.faults == ()
    assert (str(day.on), round(day.rain_mm, 6)) == ("2026-03-08", 2.3)


def test_the_command_tells_what_it_did_as_json(station: WeatherStation, tmp_path: Path) -> None:
    file = tmp_path / "days.csv"
    file.write_text(f"{HEAD}2026-04-10,2,19,0\n2026-04-11,99,20,1.5\n")
    out = StringIO()

    call_command("import_weather", file, site="small", station="mast", json=True, stdout=out)

    told = json.loads(out.getvalue())
    assert (told["n_rows"], told["n_used"], told["n_new"]) == (2, 1, 1)
    assert told["faults"][0]["line"] == 3


def test_the_command_names_the_stations_there_are(station: WeatherStation, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match=r"no station tower at small\. Known there: mast"):
        call_command("import_weather", tmp_path / "x.csv", site="small", station="tower")


def test_a_file_that_is_not_there_is_said_plainly(station: WeatherStation, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="No such file"):
        call_command("import_weather", tmp_path / "x.csv", site="small", station="mast")


def test_an_unreadable_file_records_nothing(station: WeatherStation, tmp_path: Path) -> None:
    file = tmp_path / "days.csv"
    file.write_text("when,how warm\nyesterday,quite\n")

    with pytest.raises(CommandError, match="Nothing was recorded"):
        call_command("import_weather", file, site="small", station="mast")
    assert Site.objects.count() == 1
    assert not WeatherDay.objects.exists()
