"""`manage.py dump_site SLUG`: write a site as a farm file to standard output."""

from argparse import ArgumentParser
from datetime import UTC, datetime
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils.translation import gettext as _

from equipment.site.models import Site
from schedules.farmfile.services import dump_site


class Command(BaseCommand):
    help = _("Write a site as a farm file to standard output.")

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("site")

    def handle(self, *args: Any, **options: Any) -> None:
        site = Site.objects.filter(slug=options["site"]).first()
        if site is None:
            known = ", ".join(Site.objects.order_by("slug").values_list("slug", flat=True))
            words = {"site": options["site"], "known": known or "-"}
            raise CommandError(_("There is no site %(site)s. Known: %(known)s.") % words)
        self.stdout.write(dump_site(site=site, at=datetime.now(UTC)), ending="")
