"""The days that a report is about, as they were asked for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from equipment.site.calc.local_time import day_bounds, local_date_of
from equipment.site.errors import FieldFault, InvalidInputError

from .base import Desk

MOST_DAYS = 366
FIRST_YEAR = 2000
DAY = timedelta(days=1)
DAYS = ("from", "to")
MOST_SAID = 40  # letters of what an address asks for, when it is said back


@dataclass(frozen=True, slots=True)
class Period:
    """Whole days of the farm; `until_on` is the day after the last."""

    from_on: date
    until_on: date
    zone: ZoneInfo

    @property
    def last_on(self) -> date:
        """The last day in it."""
        return self.until_on - DAY

    @property
    def start(self) -> datetime:
        """The moment in which the first day begins."""
        return day_bounds(self.from_on, self.zone)[0]

    @property
    def end(self) -> datetime:
        """The moment in which the last day is over."""
        return day_bounds(self.last_on, self.zone)[1]

    @property
    def query(self) -> str:
        """How an address asks for it."""
        return urlencode({"from": self.from_on.isoformat(), "to": self.last_on.isoformat()})


def say_date(desk: Desk, on: date | datetime) -> str:
    """Say a day with its year: Wed 4 Mar 2026."""
    local = on.astimezone(desk.caller.site.zone) if isinstance(on, datetime) else on
    return f"{desk.day(local)} {local.year}"


def say_period(desk: Desk, period: Period) -> str:
    """Say from when to when, both days in it."""
    first, last = say_date(desk, period.from_on), say_date(desk, period.last_on)
    return _("%(first)s to %(last)s") % {"first": first, "last": last}


def asked_period(desk: Desk, **more: tuple[str, ...]) -> Period:
    """Give the days of `?from=` and `?to=`, both in it; the last full month without them.

    `more` names what else the address may ask for, with the values that there are.
    """
    _refuse_unknown(desk, more)
    zone = desk.caller.site.zone
    today = local_date_of(desk.now, zone)
    texts = [desk.request.GET.get(name, "").strip() for name in DAYS]
    if not any(texts):
        last = today.replace(day=1) - DAY
        return Period(last.replace(day=1), last + DAY, zone)
    first, last = (_read(name, text) for name, text in zip(DAYS, texts, strict=True))
    if last > today:
        raise _refused("to", _("Records end today: give a last day up to today."))
    if last < first:
        raise _refused("to", _("The last day lies before the first."))
    if (last - first).days >= MOST_DAYS:
        raise _refused("from", _("A report covers %d days at most.") % MOST_DAYS)
    return Period(first, last + DAY, zone)


def _refuse_unknown(desk: Desk, more: Mapping[str, tuple[str, ...]]) -> None:
    """Refuse what an address asks for and nobody would heed: all of it at once."""
    faults = []
    for name, values in desk.request.GET.lists():
        words = _say_fault(name, values, more)
        if words:
            faults.append(FieldFault(name[:MOST_SAID], "invalid", words))
    if faults:
        told = _("The address asks for what this report cannot give. Mend it there, or go back.")
        raise InvalidInputError(told, faults)


def _say_fault(name: str, values: Sequence[str], more: Mapping[str, tuple[str, ...]]) -> str:
    if name not in DAYS and name not in more:
        return _("Not known here. Take it out; known are: %s.") % ", ".join((*DAYS, *more))
    if len(values) > 1:
        return _("Given %d times. Give it once.") % len(values)
    if name in more and values[0] not in more[name]:
        told = {"given": values[0][:MOST_SAID], "choices": ", ".join(more[name])}
        return _("“%(given)s” cannot be had. Choose of: %(choices)s.") % told
    return ""


def _read(name: str, text: str) -> date:
    try:
        on = date.fromisoformat(text)
    except ValueError as error:
        raise _refused(name, _("Give the first and the last day, as in 2026-02-01.")) from error
    if on.year < FIRST_YEAR:
        raise _refused(name, _("Give days of the year %d or later.") % FIRST_YEAR)
    return on


def _refused(name: str, words: str) -> InvalidInputError:
    return InvalidInputError(words, [FieldFault(name, "invalid", words)])
