"""What is missing in a period: readings and work that were due and are not on record.

Only from what is stored. What this program does not record is named as that, and nothing is
guessed of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from crews.people.queries import skills_expiring
from equipment.basins.queries import level_days
from equipment.site.calc.local_time import local_date_of
from schedules.sand.queries import picked_up_untested
from schedules.work.models import WorkOrder
from schedules.work.queries import (
    OF_BASINS,
    OF_HEAT,
    OF_SERVICES,
    OF_TESTS,
    OrderRecord,
    due_and_done,
    missing_work,
)

from .base import Desk
from .basins import OLD_READING
from .record_period import DAY, Period, say_date
from .wording import say_order_state, say_said

REQUIRED = OF_BASINS | OF_TESTS | OF_SERVICES | OF_HEAT
MOST_NAMED = 12
LEVEL_EVERY = OLD_READING  # between readings of a depth marker: 40 CFR 412.37 asks for each week


@dataclass(frozen=True, slots=True)
class Cover:
    """Sentences: what was due and done, what is missing, what this program does not record."""

    due: list[str]
    missing: list[str]
    not_recorded: list[str]


def cover_of(desk: Desk, period: Period, n_weather_days: int) -> Cover:
    """Say what is missing of a period: 6 queries."""
    today = local_date_of(desk.now, period.zone)  # whose weather is recorded tomorrow
    n_days_over = (min(period.until_on, today) - period.from_on).days
    span = (desk.site_id, period.from_on, period.until_on, REQUIRED, desk.now)
    records = due_and_done(*span)
    rows = list(missing_work(*span)[:MOST_NAMED])
    n_missing = sum(one.n_missed + one.n_untold for one in records)
    return Cover(
        due=[_say_record(desk, one) for one in records]
        or [_("No standing order asked for a reading, a test, a service or a heat round.")],
        missing=[
            *_say_work(desk, rows, n_missing),
            *_say_levels(desk, period, min(period.until_on, today + DAY)),
            *_say_tests(desk, period),
            *_say_skills(desk, period),
            *_say_weather(n_days_over - n_weather_days),
        ],
        not_recorded=_not_recorded(desk),
    )


def _say_record(desk: Desk, one: OrderRecord) -> str:
    words = _("%(work)s: %(done)s of %(due)s done")
    said = words % {
        "work": say_said(one.title, desk.language),
        "done": f"{one.n_done:,}",
        "due": f"{one.n_due:,}",
    }
    others = [
        words % {"n": f"{n:,}"}
        for n, words in (
            (one.n_part, _("%(n)s in part")),
            (one.n_missed, _("%(n)s not done")),
            (one.n_untold, _("%(n)s not told")),
        )
        if n
    ]
    return f"{', '.join([said, *others])}."


def _say_work(desk: Desk, rows: Sequence[WorkOrder], n_missing: int) -> list[str]:
    words = _("%(work)s %(place)s, %(day)s: %(state)s.")
    said = [
        words
        % {
            "work": say_said(row.title, desk.language),
            "place": desk.place(row.place),
            "day": say_date(desk, row.local_date),
            "state": say_order_state(row),
        }
        for row in rows
    ]
    n_more = n_missing - len(rows)
    if n_more > 0:
        more = ngettext("And %(n)s more.", "And %(n)s more.", n_more)
        said.append(more % {"n": f"{n_more:,}"})
    return said


def gaps_in(
    days: Iterable[date], from_on: date, until_on: date, most: timedelta
) -> list[tuple[date, date]]:
    """Give spans longer than `most` between days, by the day before and the day after each.

    Days before the span count where its first day is looked back from. Without one the span's own
    first day stands for it; its end stands for the day after the last.
    """
    known = sorted(days)
    before = [on for on in known if on <= from_on]
    begin = before[-1] if before else from_on
    ends = [begin, *(on for on in known if from_on < on < until_on), until_on]
    return [(a, b) for a, b in pairwise(ends) if b - a > most]


def _say_levels(desk: Desk, period: Period, until_on: date) -> list[str]:
    """Name spans without a reading that are longer than the depth marker's rule allows."""
    found = level_days(desk.caller.site, period.from_on - LEVEL_EVERY, until_on)
    words = _("%(basin)s: no level read for %(days)s, from %(first)s until %(last)s.")
    return [
        words
        % {
            "basin": desk.place(basin.place),
            "first": say_date(desk, first),
            "last": say_date(desk, min(last, until_on - DAY)),
            "days": ngettext("%d day", "%d days", (last - first).days) % (last - first).days,
        }
        for basin, days in found
        for first, last in gaps_in(days, period.from_on, until_on, LEVEL_EVERY)
    ]


def _say_tests(desk: Desk, period: Period) -> list[str]:
    words = _("%(batch)s %(number)d: picked up on %(day)s with no moisture test on record.")
    return [
        words
        % {
            "batch": desk.noun("batch"),
            "number": step.batch.number,
            "day": say_date(desk, step.at),
        }
        for step in picked_up_untested(desk.site_id, period.start, period.end)
    ]


def _say_skills(desk: Desk, period: Period) -> list[str]:
    words = _("%(person)s: “%(skill)s” ran out on %(day)s.")
    rows = skills_expiring(desk.site_id, period.from_on, period.until_on)
    return [
        words
        % {
            "person": row.worker.name,
            "skill": row.skill.name,
            "day": say_date(desk, row.until_on) if row.until_on else "",
        }
        for row in rows
    ]


def _say_weather(n_days: int) -> list[str]:
    if n_days <= 0:
        return []
    words = ngettext(
        "%(n)s day has no recorded weather: whether a heat rule applied then is not known.",
        "%(n)s days have no recorded weather: whether a heat rule applied then is not known.",
        n_days,
    )
    return [words % {"n": f"{n_days:,}"}]


def _not_recorded(desk: Desk) -> list[str]:
    return [
        _("%(basins)s: what a round found beyond “could not” and its reason, samples of water, and "
          "permits are not recorded here.") % {"basins": desk.noun("basins")},
        _("%(fields)s: soil tests, how manure was spread and the weather then are not recorded "
          "here.") % {"fields": desk.noun("fields")},
        _("Sand: bacteria, organic matter and other laboratory results of sand are not recorded "
          "here."),
        _("Training: courses, teachers and certificates are not recorded here; only skills with "
          "their days."),
        _("Heat: water, shade and training given, and symptoms and injuries, are not recorded "
          "here."),
        _("Milk and animal health are not recorded here."),
    ]  # fmt: skip
