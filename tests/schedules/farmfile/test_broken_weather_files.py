"""Every broken weather file gets its exact messages; only its good rows are recorded."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import yaml

from equipment.weather.models import WeatherDay, WeatherStation
from schedules.farmfile.document import read_document
from schedules.farmfile.faults import BrokenFileError, Fault
from schedules.farmfile.services import load_site
from schedules.farmfile.weather import import_weather

HERE = Path(__file__).parent
FILES = HERE / "broken" / "weather"
AT = datetime(2026, 11, 25, 15, tzinfo=UTC)
MESSAGES: dict[str, dict[str, Any]] = yaml.safe_load((FILES / "messages.yaml").read_text())


@pytest.fixture
def station(db: None) -> WeatherStation:
    load_site(document=read_document(HERE / "small.yaml"), at=AT)
    return WeatherStation.objects.get()


def read(station: WeatherStation, raw: bytes, file: str) -> tuple[int, list[Fault]]:
    try:
        report = import_weather(station=station, raw=raw, file=file, at=AT)
    except BrokenFileError as error:
        return 0, error.faults
    return report.n_used, list(report.faults)


def test_every_broken_file_has_its_messages() -> None:
    files = {path.stem for path in FILES.glob("*.csv")}

    assert files == set(MESSAGES)
    assert len(files) >= 15


@pytest.mark.parametrize("name", sorted(MESSAGES))
def test_a_broken_file_says_exactly_what_is_wrong(name: str, station: WeatherStation) -> None:
    n_used, faults = read(station, (FILES / f"{name}.csv").read_bytes(), f"{name}.csv")

    assert [str(fault) for fault in faults] == MESSAGES[name]["faults"]
    assert n_used == MESSAGES[name]["n_used"]


@pytest.mark.parametrize("name", sorted(MESSAGES))
def test_rows_that_were_told_are_not_recorded(name: str, station: WeatherStation) -> None:
    n_used, _faults = read(station, (FILES / f"{name}.csv").read_bytes(), f"{name}.csv")

    n_days = WeatherDay.objects.filter(station=station).count()
    is_hourly = name == "skipped_hour"  # two hours make no day
    assert n_days == (0 if is_hourly else n_used)


def test_a_row_taken_out_of_order_does_not_move_the_others(station: WeatherStation) -> None:
    read(station, (FILES / "unordered.csv").read_bytes(), "unordered.csv")

    days = WeatherDay.objects.order_by("on").values_list("on", "tmin_degc")
    assert [(str(on), tmin_degc) for on, tmin_degc in days] == [
        ("2026-03-02", 1.0),
        ("2026-03-03", 2.0),
    ]
