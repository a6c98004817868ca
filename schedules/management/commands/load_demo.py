"""`manage.py load_demo`: the invented farm, built around now."""

import json
import sys
from argparse import ArgumentParser
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any

from django.core.management.base import BaseCommand
from django.utils.translation import gettext as _

from schedules.farmfile.demo.accounts import keep_password
from schedules.farmfile.demo.services import load_demo, overlays

from .load_site import describe


class Command(BaseCommand):
    help = _("Build Three Cairns Dairy, an invented farm, around now. Again it changes nothing.")

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--overlay", choices=overlays())
        parser.add_argument("--json", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        report = load_demo(at=datetime.now(UTC), overlay=options["overlay"], tell=self._progress)
        if options["json"]:
            self.stdout.write(json.dumps(asdict(report.load)))
        else:
            self.stdout.write(describe(report.load))
        if report.password is None:
            return
        names = ", ".join(report.usernames)
        path = keep_password(report.password, report.usernames)
        where = _("is in %(path)s") % {"path": path} if path else report.password
        for line in (
            _("Sign in as one of: %(names)s.") % {"names": names},
            _("Their password: %(where)s") % {"where": where},
        ):
            self.stderr.write(line, style_func=str)

    def _progress(self, text: str) -> None:
        if sys.stderr.isatty():
            self.stderr.write(f"… {text}", style_func=str)
