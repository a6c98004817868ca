"""Weather, machines, basins and leave of the invented farm up to now."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta

import numpy as np

from crews.people.models import Leave, Worker
from crews.people.services import add_leave
from equipment.basins.models import Basin, LevelReading
from equipment.machines.models import Defect, Machine
from equipment.machines.services import report_defect
from equipment.site.calc.local_time import local_date_of
from equipment.site.farmfields import Values
from equipment.site.models import Site
from equipment.site.services import service_actor
from equipment.weather.calc.days import Place
from equipment.weather.calc.generator import Overlay, generate_weather
from equipment.weather.models import WeatherStation
from equipment.weather.services import DayCounts, record_days


def invent_weather(site: Site, drawn: Values, at: datetime) -> DayCounts:
    """Record the invented weather from its first day until yesterday, at the first station."""
    station = WeatherStation.objects.filter(site=site, retired_at=None).order_by("pk").first()
    assert station is not None  # the demo's farm file has one
    first_on = date.fromisoformat(drawn["from_on"])
    weather = generate_weather(
        first_on,
        (local_date_of(at, site.zone) - first_on).days,
        np.random.default_rng(drawn["seed"]),
        overlay=Overlay(drawn["rain_days_factor"], drawn["rain_amount_factor"]),
        place=Place(station.latitude_deg, station.elevation_m),
    )
    return record_days(station=station, days=weather, at=at)


def give_leave(site: Site, entries: Iterable[Values], at: datetime) -> None:
    """Write the leave down once; people's own entries later are left alone."""
    if Leave.objects.filter(site=site).exists():
        return
    today = local_date_of(at, site.zone)
    for entry in entries:
        from_on = today + timedelta(days=entry["from_d"])
        add_leave(
            site_id=site.pk,
            worker_id=Worker.objects.get(site=site, key=entry["worker"]).pk,
            kind=entry["kind"],
            from_on=from_on,
            until_on=from_on + timedelta(days=entry["days"]),
            at=at,
        )


def report_defects(site: Site, entries: Iterable[Values], at: datetime) -> None:
    if Defect.objects.filter(site=site).exists():
        return
    for entry in entries:
        report_defect(
            site_id=site.pk,
            machine_id=Machine.objects.get(site=site, key=entry["machine"]).pk,
            text=entry["text"],
            is_safety=False,
            by=Worker.objects.get(site=site, key=entry["by"]).actor,
            at=at - timedelta(hours=entry["h_ago"]),
        )


def read_levels(site: Site, entries: Iterable[Values], at: datetime, weeks: int = 12) -> None:
    """Write a reading a week for each basin, along a straight line to its depth now."""
    if LevelReading.objects.filter(site=site).exists():
        return
    by = service_actor(site.pk)
    basins = {basin.place.key: basin for basin in Basin.objects.filter(site=site)}
    LevelReading.objects.bulk_create(
        LevelReading(
            site=site,
            basin=basins[entry["basin"]],
            read_at=at - timedelta(weeks=week, hours=3),
            depth_m=round(max(entry["depth_m"] - week * entry["rise_m_w"], 0.05), 2),
            by=by,
        )
        for entry in entries
        for week in range(weeks)
    )
