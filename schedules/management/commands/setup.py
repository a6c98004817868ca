"""`manage.py setup`: a farm of one's own, from six questions."""

from __future__ import annotations

import getpass
import sys
from argparse import ArgumentParser
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from equipment.site.errors import DomainError
from schedules.farmfile import first_site
from schedules.farmfile.first_site import Answers

T = TypeVar("T")
QUESTIONS: dict[str, str | Promise] = {
    "name": gettext_lazy("What is the dairy called?"),
    "time_zone": gettext_lazy("Its time zone, such as America/Denver?"),
    "place": gettext_lazy("Where is it: degrees north and east, such as 43.2, -112.3?"),
    "units": gettext_lazy("Units on its pages: us or si?"),
    "language": gettext_lazy("Its usual language: en or es?"),
    "manager": gettext_lazy("With which name does its manager sign in?"),
}


class Command(BaseCommand):
    help = _("Make a farm of your own: six questions, or an option for each.")

    def add_arguments(self, parser: ArgumentParser) -> None:
        for name, question in QUESTIONS.items():
            parser.add_argument(f"--{name.replace('_', '-')}", help=str(question))

    def handle(self, *args: Any, **options: Any) -> None:
        self.options = options
        name = self._ask("name", first_site.read_name)
        time_zone = self._ask("time_zone", first_site.read_zone, usual=machine_zone())
        latitude_deg, longitude_deg = self._ask("place", first_site.read_place)
        units = self._ask("units", _one_of("us", "si"), usual="us")
        language = self._ask("language", _one_of("en", "es"), usual="en")
        manager = self._ask("manager", first_site.read_manager, usual="manager")
        password, is_drawn = self._ask_password(manager)
        answers = Answers(name, time_zone, latitude_deg, longitude_deg, units, language, manager)
        try:
            site = first_site.make_first_site(answers, password, datetime.now(UTC))
        except DomainError as error:
            raise CommandError(error.detail) from error
        url = f"{settings.SITE_URL.geturl()}{reverse('today', args=[site.slug])}"
        self.stdout.write(_("%(name)s is there: %(url)s") % {"name": name, "url": url})
        self.stdout.write(_("Sign in as: %s") % manager)
        if is_drawn:
            self.stdout.write(_("Password, told once: %s") % password)
        self.stdout.write(_("Next: sign in there. Set up says what to give, step by step."))

    def _ask(self, name: str, read: Callable[[str], T], usual: str = "") -> T:
        """Take an option, else ask until the answer can be read."""
        given = self.options[name]
        while True:
            text = self._line(name, usual) if given is None else given
            try:
                return read(text or usual)
            except DomainError as error:
                if given is not None:
                    option = name.replace("_", "-")
                    raise CommandError(f"--{option} {given}: {error.detail}") from error
                self.stderr.write(error.detail)

    def _line(self, name: str, usual: str) -> str:
        if not sys.stdin.isatty():
            option = name.replace("_", "-")
            raise CommandError(_("Nobody is here to ask: give --%s.") % option)
        ending = f" [{usual}] " if usual else " "
        return input(f"{QUESTIONS[name]}{ending}")

    def _ask_password(self, manager: str) -> tuple[str, bool]:
        """Ask for a password; draw one where none is given or nobody is here to ask."""
        while sys.stdin.isatty():
            given = getpass.getpass(
                _("A password for %s, or nothing to have one drawn: ") % manager
            )
            if not given:
                break
            try:
                first_site.check_password(given, manager)
            except DomainError as error:
                self.stderr.write(error.detail)
                continue
            if getpass.getpass(_("The same again: ")) == given:
                return given, False
            self.stderr.write(_("These were two different ones."))
        return first_site.drawn_password(), True


def _one_of(*choices: str) -> Callable[[str], str]:
    return lambda text: first_site.read_choice(text, choices)


def machine_zone() -> str:
    """Give the zone that this machine is set to, empty where it does not say."""
    linked = str(Path("/etc/localtime").resolve())
    return linked.partition("/zoneinfo/")[2]
