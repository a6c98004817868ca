"""`manage.py day`: today's milkings, windows, work, people and machines, and what nobody has."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from equipment.site.calc.local_time import day_bounds, local_date_of
from equipment.site.models import Site
from schedules.dayplan.report import DayReport, Row, day_report


class Command(BaseCommand):
    help = "Print a site's day: milkings, windows, work orders, people, machines, what is left out."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--site", help="the site's short name; may be left out when there is one"
        )
        parser.add_argument("--date", help="local date, YYYY-MM-DD; today when left out")
        parser.add_argument("--json", action="store_true", help="the same as one JSON document")

    def handle(self, *args: Any, **options: Any) -> None:
        site = _find_site(options["site"])
        on = _read_date(options["date"]) or local_date_of(datetime.now(UTC), site.zone)
        start, end = day_bounds(on, site.zone)
        report = day_report(site, on, start, end)
        if options["json"]:
            self.stdout.write(json.dumps(report.as_document(), indent=2, default=str))
        else:
            self._print(site, report)

    def _print(self, site: Site, report: DayReport) -> None:
        say = self.stdout.write
        say(f"{site.name}, {report.on:%a %-d %b %Y} ({site.time_zone})")
        say("\nMilkings")
        for row in report.milkings:
            say(_fill("  {slot}: {starts} to {ends}, wash until {wash_until}", row))
        say("\nPens, and the windows of their beds")
        for row in report.visits:
            say(_fill("  {milking}  {pen:<14} away {first_out} to {last_back}, ", row), ending="")
            say(_fill("empty {last_out} to {first_back}", row))
            for window in row["windows"]:
                say(_fill("       {beds:<20} usable {from} to {until} ({min:.0f} min)", window))
        say("\nWork")
        for row in report.assigned:
            people = ", ".join(row["people"])
            machine = f" with {row['machine']}" if row["machine"] else ""
            head = _fill("  {start} to {end}  {title} {place}: ", row)
            say(f"{head}{people}{machine} [{row['state']}]")
        say("\nNobody has it")
        for row in report.unassigned:
            why = "; ".join(row["why"]) or "not planned yet"
            say(_fill("  due {due}  {title} {place}: ", row) + why)
        say("\n" + "\n".join(report.summary))


def _fill(pattern: str, row: Row) -> str:
    return pattern.format(**row)


def _find_site(slug: str | None) -> Site:
    sites = list(Site.objects.filter(slug=slug) if slug else Site.objects.all())
    if len(sites) != 1:
        names = ", ".join(Site.objects.values_list("slug", flat=True)) or "none is loaded"
        raise CommandError(f"Name one site with --site; there are: {names}.")
    return sites[0]


def _read_date(text: str | None) -> date | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise CommandError(f"--date {text!r} is no date: write it as 2026-03-04.") from error
