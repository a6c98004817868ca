"""How many people of each skill the coming shifts need, from the work orders in them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from datetime import date, datetime, timedelta
from math import ceil

from crews.people.models import Skill
from crews.roster.build import Kinds
from crews.roster.models import ShiftDemand, ShiftPattern
from crews.roster.services import AHEAD, need_people
from equipment.site.calc.local_time import local_date_of, wall_span
from equipment.site.models import Site

from .models import Status, WorkOrder

WEEK = timedelta(days=7)
BUSY_FRAC = 0.75  # of a shift; the rest is breaks, ways and waiting; common practice, no source

Slot = tuple[date, int, str]  # local date, first pattern of the hours, skill


def keep_demand(*, site_id: int, at: datetime) -> int:
    """Put what the coming two weeks of work need where the roster reads it; count changes.

    A date's need is the larger of what is planned for it and what the same weekday had before,
    since not all of its work is known yet.
    """
    site = Site.objects.get(pk=site_id)
    today = local_date_of(at, site.zone)
    until_on = today + AHEAD
    needs = _needs(site, today - WEEK, until_on)
    skills = dict(Skill.objects.filter(site=site, retired_at=None).values_list("key", "pk"))
    rows = [
        ShiftDemand(
            site=site,
            pattern_id=pattern_id,
            skill_id=skills[skill],
            local_date=on,
            target=n_people,
        )
        for (on, pattern_id, skill), n_people in _ahead(needs, today, until_on).items()
        if skill in skills
    ]
    return need_people(site_id=site_id, from_on=today, until_on=until_on, needed=rows, at=at)


def _ahead(needs: Mapping[Slot, int], today: date, until_on: date) -> dict[Slot, int]:
    """Carry each need on to the same weekdays that follow."""
    found: dict[Slot, int] = defaultdict(int)
    for (on, pattern_id, skill), n_people in needs.items():
        for later in (on, on + WEEK, on + 2 * WEEK, on + 3 * WEEK):
            if today <= later < until_on:
                slot = (later, pattern_id, skill)
                found[slot] = max(found[slot], n_people)
    return found


def _needs(site: Site, from_on: date, until_on: date) -> dict[Slot, int]:
    """People of a skill at once, or by the minutes of all its work, whichever is more: 2 queries.

    Work counts for the shift in which its whole window lies: what can wait for another shift asks
    none for people. Work called off does not count.
    """
    spans = list(_spans(site, from_on, until_on))
    orders = WorkOrder.objects.filter(
        site=site, local_date__gte=from_on, local_date__lt=until_on
    ).exclude(status=Status.CANCELLED)
    most: dict[Slot, int] = defaultdict(int)
    minutes: dict[Slot, float] = defaultdict(float)
    lengths: dict[Slot, float] = {}
    columns = orders.exclude(skill="").values_list(
        "skill", "n_people", "duration_min", "starts_after", "due_at"
    )
    for skill, n_people, duration_min, starts_after, due_at in columns:
        for on, pattern, start, end in spans:
            if start <= starts_after and due_at <= end:
                slot = (on, pattern.pk, skill)
                most[slot] = max(most[slot], n_people)
                minutes[slot] += duration_min * n_people
                lengths[slot] = (end - start) / timedelta(minutes=1)
                break
    return {
        slot: max(n_most, ceil(minutes[slot] / (BUSY_FRAC * lengths[slot])))
        for slot, n_most in most.items()
    }


def _spans(
    site: Site, from_on: date, until_on: date
) -> Iterator[tuple[date, ShiftPattern, datetime, datetime]]:
    """Every shift of the dates, once for patterns of the same hours: 1 query."""
    first = [group[0] for group in Kinds.of(site.pk).patterns.values()]
    for n_day in range(-1, (until_on - from_on).days):
        on = from_on + timedelta(days=n_day)
        for pattern in first:
            wall = timedelta(minutes=pattern.duration_min)
            start, end = wall_span(datetime.combine(on, pattern.starts_local), wall, site.zone)
            yield on, pattern, start, end
