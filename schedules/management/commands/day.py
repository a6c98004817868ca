"""`manage.py day`: today's milkings, windows, work, people and machines, and what nobody has."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils.translation import gettext as _
from django.utils.translation import override

from equipment.site.calc.local_time import day_bounds, local_date_of
from equipment.site.models import Language, Site
from schedules.dayplan.report import day_report
from schedules.desk.day_text import DayText


class Command(BaseCommand):
    help = _("Print a site's day: milkings, windows, work, people, machines, what nobody has.")

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--site", help=_("short name; may be left out when there is one site"))
        parser.add_argument("--date", help=_("local date as 2026-03-04; today when left out"))
        parser.add_argument("--language", choices=Language.values, help=_("else the site's own"))
        parser.add_argument("--json", action="store_true", help=_("codes and numbers, no words"))

    def handle(self, *args: Any, **options: Any) -> None:
        site = _find_site(options["site"])
        on = _read_date(options["date"]) or local_date_of(datetime.now(UTC), site.zone)
        report = day_report(site, on, *day_bounds(on, site.zone))
        if options["json"]:
            self.stdout.write(json.dumps(report.as_document(), indent=2, default=str))
            return
        with override(options["language"] or site.language):
            self.stdout.write("\n".join(DayText(report).lines()))


def _find_site(slug: str | None) -> Site:
    sites = list(Site.objects.filter(slug=slug) if slug else Site.objects.all())
    if len(sites) != 1:
        known = ", ".join(Site.objects.order_by("slug").values_list("slug", flat=True))
        raise CommandError(_("Name one site with --site. Known: %s.") % (known or "-"))
    return sites[0]


def _read_date(text: str | None) -> date | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise CommandError(_("--date %s is no date: write it as 2026-03-04.") % text) from error
