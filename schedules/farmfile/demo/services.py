"""Builds the invented farm around now: its file, its history, and what follows from both."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from crews.roster.services import keep_shifts_ahead
from equipment.basins.services import store_outlooks
from equipment.site.calc.local_time import local_date_of
from equipment.site.farmfields import Values
from equipment.site.models import Site
from equipment.site.writes import site_write
from schedules.dayplan.models import PlanRun
from schedules.dayplan.services import plan_day
from schedules.farmfile.document import read_document
from schedules.farmfile.entries import FarmReader
from schedules.farmfile.loading import LoadReport
from schedules.farmfile.registry import all_sections
from schedules.farmfile.services import load_site
from schedules.rounds.services import plan_milkings
from schedules.sand.forecasts import forecast_all
from schedules.work.closing import close_recorded
from schedules.work.produce import materialise

from .accounts import make_accounts
from .bedwork import groom_beds
from .meters import run_meters
from .opening import SECTIONS
from .past import give_leave, invent_weather, read_levels, report_defects
from .sandloop import play_sand

FIXTURES = Path(__file__).resolve().parents[3] / "fixtures"
AHEAD_D = 15
FIRST_SOLVE_S = 3.0  # the first page waits for it; the service plans again at its next tick


@dataclass(frozen=True, slots=True)
class DemoReport:
    """What came of it: the load, who signs in, and the password where accounts were made."""

    load: LoadReport
    usernames: tuple[str, ...]
    password: str | None


def overlays() -> list[str]:
    """Names of the overlays there are."""
    return sorted(path.stem for path in (FIXTURES / "overlays").glob("*.yaml"))


def load_demo(
    *,
    at: datetime,
    overlay: str | None = None,
    solve_s: float = FIRST_SOLVE_S,
    tell: Callable[[str], None] = lambda _text: None,
) -> DemoReport:
    """Build Three Cairns around `at`, or bring it to the file; history is written once.

    Again with the same files on the same day it changes nothing; on a later day only the weather
    until yesterday is new, and the service's own ticks plan ahead.
    """
    tell("farm file")
    farm = read_document(FIXTURES / "three_cairns.yaml")
    laid_over = [read_document(FIXTURES / "overlays" / f"{overlay}.yaml")] if overlay else []
    reader = FarmReader({**all_sections(), **{section.name: section for section in SECTIONS}})
    reader.add(farm, is_overlay=False)
    for document in laid_over:
        reader.add(document, is_overlay=True)
    reader.add(read_document(FIXTURES / "three_cairns_opening.yaml"), is_overlay=False)
    everything = reader.read_all()
    report = load_site(document=farm, overlays=laid_over, at=at)
    site = Site.objects.get(slug=report.site)
    accounts = everything["accounts"].values()
    password = make_accounts(site, accounts)
    _write_history(site, everything, at, tell)
    if not (report.is_empty and PlanRun.objects.filter(site=site).exists()):
        _look_ahead(site, at, solve_s, tell)
    return DemoReport(report, tuple(entry["username"] for entry in accounts), password)


def _write_history(
    site: Site, everything: dict[str, dict[str, Values]], at: datetime, tell: Callable[[str], None]
) -> None:
    tell("weather")
    invent_weather(site, everything["invented_weather"]["invented_weather"], at)
    tell("people and machines")
    give_leave(site, everything["leave"].values(), at)
    run_meters(site, everything["meters"].values(), at)
    report_defects(site, everything["defects"].values(), at)
    read_levels(site, everything["levels"].values(), at)
    tell("sand")
    play_sand(site, everything["sand"]["sand"], at)
    tell("beds")
    groom_beds(site, everything["bed_work"].values(), at)


def _look_ahead(site: Site, at: datetime, solve_s: float, tell: Callable[[str], None]) -> None:
    """Plan what the service would plan at its next ticks, so that the first page is full."""
    today = local_date_of(at, site.zone)
    tell("shifts and milkings")
    keep_shifts_ahead(site_id=site.pk, at=at)
    until_on = today + timedelta(days=AHEAD_D)
    plan_milkings(site_id=site.pk, from_on=today, until_on=until_on, at=at)
    forecast_all(site_id=site.pk, at=at)
    store_outlooks(site_id=site.pk, at=at)
    tell("work")
    materialise(site_id=site.pk, now=at)
    with site_write(site.pk, at) as write:
        close_recorded(write, at)  # what the history did already, before it is given to anybody
    tell("the day's plan")
    plan_day(site_id=site.pk, at=at, seconds=solve_s)
