"""What is told of the small farm, and its reports as they are read: the page's rows, the CSV's."""

from __future__ import annotations

import csv
from datetime import date, datetime, timedelta
from io import StringIO
from typing import Any

from django.test import Client

from equipment.basins.models import Basin, LevelReading
from equipment.basins.services import record_level
from equipment.site.models import Actor, PlaceKind, Site
from equipment.weather.models import WeatherDay, WeatherStation
from schedules.desk.record_reports import REPORTS
from schedules.work.models import StandingOrder, Trigger, WorkOrder
from tests.factories import make_standing_order, make_work_order, utc
from tests.schedules.desk.reading import rows, url

DAY, HOUR, MINUTE = timedelta(days=1), timedelta(hours=1), timedelta(minutes=1)
FEBRUARY = utc("2026-02-10 17:00")  # 10:00 am in Denver
MARCH = {"from": "2026-03-01", "to": "2026-03-04"}
KEYS = [report.key for report in REPORTS]


def page(client: Client, slug: str = "small", **query: Any) -> Any:
    response = client.get(url("records", slug=slug), query)
    assert response.status_code == 200
    return response


def shown(client: Client, key: str, slug: str = "small", **query: Any) -> list[list[str]]:
    """The rows of one report on the page, its heads first."""
    html = page(client, slug, **query).content.decode()
    part = html[html.index(f'id="{key}"') :]
    return rows(part[: part.index("</section>")])


def table(client: Client, key: str, slug: str = "small", **query: Any) -> list[dict[str, str]]:
    response = client.get(url("record-csv", key, slug=slug), query)
    assert response.status_code == 200
    text = b"".join(response.streaming_content).decode()  # type: ignore[attr-defined]
    return list(csv.DictReader(StringIO(text)))


def say_level(basin: Basin, by: Actor, at: datetime, depth_m: float = 1.2) -> LevelReading:
    return record_level(site_id=basin.site_id, basin_id=basin.pk, depth_m=depth_m, by=by, at=at)


def say_weather(station: WeatherStation, on: date, tmax_degc: float) -> WeatherDay:
    return WeatherDay.objects.create(
        site=station.site, station=station, on=on, tmin_degc=5, tmax_degc=tmax_degc,
        rh_min_frac=0.3, rain_mm=0, et0_mm=5, et0_method="given",
    )  # fmt: skip


def make_round(site: Site, basin: Basin, n: int, **facts: Any) -> WorkOrder:
    order = _walk(site)
    at = FEBRUARY + n * DAY
    usual = {
        "standing_order": order,
        "title": order.title,
        "place": basin.place,
        "starts_after": at,
        "due_at": at + 4 * HOUR,
        "local_date": at.date(),
    }
    return make_work_order(site, f"round/{n}", **{**usual, **facts})


def _walk(site: Site) -> StandingOrder:
    found = StandingOrder.objects.filter(site=site, key="walk").first()
    facts: dict[str, Any] = {"trigger": Trigger.CALENDAR, "target": {"kind": PlaceKind.BASIN}}
    return found or make_standing_order(site, "walk", title={"en": "Walk round"}, **facts)
