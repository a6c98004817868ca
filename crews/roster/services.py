"""Verbs of the roster: make the shifts, say who is here, who is sick, which crew has which pens."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, timedelta

from django.utils.translation import gettext as _

from crews.errors import NoShiftError
from crews.people.models import Crew, Leave, LeaveKind
from crews.people.services import add_leave, find_worker
from equipment.barns.models import Pen
from equipment.site.calc.local_time import local_date_of
from equipment.site.errors import NotFoundError, StaleError
from equipment.site.models import Site
from equipment.site.writes import site_write

from .calc import shifts as calc
from .dates import hours_on, is_within, published_spans, refuse_date
from .locks import lock_roster
from .models import CrewPens, Presence, Rotation, Shift, ShiftDemand, ShiftPattern, ShiftWish
from .queries import days_by_hand

AHEAD = timedelta(days=15)


def plan_shifts(*, site_id: int, from_on: date, until_on: date, at: datetime) -> int:
    """Make the shifts of [from_on, until_on) from rotations and leave; count what changed.

    Safe to repeat and to run twice at once: shifts are unique by worker, pattern and date. A
    shift already marked here or sick keeps its mark; one that no longer follows from the
    rotation goes when it has not begun, one on leave stays and says so. On dates of a published
    roster the shifts are that one's, and a day changed by hand is as it was put, whatever
    rotations say.
    """
    site = Site.objects.get(id=site_id)
    with site_write(site_id, at) as write:
        lock_roster(site_id)
        wanted = _wanted_shifts(site, from_on, until_on)
        n_gone = _drop_unwanted(site_id, wanted, (from_on, until_on), at)
        n_made = _make_missing(site_id, wanted, (from_on, until_on))
        if n_gone or n_made:
            write.change("roster.changed", "")
    return n_gone + n_made


ShiftKey = tuple[int, int, date]


def _wanted_shifts(site: Site, from_on: date, until_on: date) -> dict[ShiftKey, Shift]:
    """Give the shifts that should be, each with whether its worker is on leave then: 5 queries."""
    leave = [
        calc.Leave(str(row.worker_id), row.from_on, row.until_on)
        for row in Leave.objects.filter(site=site, until_on__gt=from_on, from_on__lt=until_on)
    ]
    published = published_spans(site.pk, from_on, until_on)
    by_hand = days_by_hand(site.pk, from_on, until_on)
    turns = [
        one
        for one in _turns(site, from_on, until_on)
        if not is_within(published, one.local_date)
        and (int(one.worker), one.local_date) not in by_hand
    ]
    put = [
        _shift_of(site, row.worker_id, row.pattern, row.local_date)
        for row in by_hand.values()
        if row.pattern is not None and not is_within(published, row.local_date)
    ]
    wanted: dict[ShiftKey, Shift] = {}
    for one in [*put, *turns, *_published_shifts(site, published, from_on, until_on)]:
        decided = by_hand.get((int(one.worker), one.local_date))
        away = any(a.worker == one.worker and a.covers(one.local_date) for a in leave)
        is_away = away and not (decided and decided.is_despite_leave)
        shift = Shift(
            site=site,
            worker_id=int(one.worker),
            pattern_id=int(one.pattern),
            local_date=one.local_date,
            starts_at=one.start,
            ends_at=one.end,
            presence=Presence.ON_LEAVE if is_away else Presence.EXPECTED,
        )
        wanted[(shift.worker_id, shift.pattern_id, shift.local_date)] = shift
    return wanted


def _turns(site: Site, from_on: date, until_on: date) -> Iterable[calc.Shift]:
    """Give the shifts that the rotations ask for, leave or not: 1 query."""
    rows = Rotation.objects.filter(
        site=site, worker__retired_at=None, pattern__retired_at=None
    ).select_related("pattern")
    rotations = [
        calc.Rotation(
            str(row.worker_id),
            calc.ShiftPattern(
                str(row.pattern_id), row.pattern.starts_local, row.pattern.duration_min
            ),
            row.days_on,
            row.days_off,
            row.anchor_on,
        )
        for row in rows
    ]
    return calc.shifts_between(rotations, [], from_on, until_on, site.zone)


def _published_shifts(
    site: Site, published: list[tuple[date, date]], from_on: date, until_on: date
) -> Iterator[calc.Shift]:
    """Shifts on record of published dates, by the hours that their patterns have now: 1 query."""
    if not published:
        return
    rows = Shift.objects.filter(
        site=site,
        local_date__gte=from_on,
        local_date__lt=until_on,
        worker__retired_at=None,
        pattern__retired_at=None,
    ).select_related("pattern")
    for row in rows:
        if is_within(published, row.local_date):
            yield _shift_of(site, row.worker_id, row.pattern, row.local_date)


def _shift_of(site: Site, worker_id: int, pattern: ShiftPattern, on: date) -> calc.Shift:
    return calc.Shift(str(worker_id), str(pattern.pk), on, *hours_on(site, pattern, on))


def _existing(site_id: int, span: tuple[date, date]) -> dict[ShiftKey, Shift]:
    rows = Shift.objects.filter(site_id=site_id, local_date__gte=span[0], local_date__lt=span[1])
    return {(s.worker_id, s.pattern_id, s.local_date): s for s in rows}


def _drop_unwanted(
    site_id: int, wanted: dict[ShiftKey, Shift], span: tuple[date, date], at: datetime
) -> int:
    """Drop future shifts that nothing asks for, or whose hours or leave changed."""
    gone = [
        shift.pk
        for key, shift in _existing(site_id, span).items()
        if shift.starts_at > at
        and shift.presence != Presence.SICK
        and not _is_same(shift, wanted.get(key))
    ]
    Shift.objects.filter(id__in=gone).delete()
    return len(gone)


def _is_same(shift: Shift, wanted: Shift | None) -> bool:
    if wanted is None or shift.starts_at != wanted.starts_at or shift.ends_at != wanted.ends_at:
        return False
    on_leave = Presence.ON_LEAVE
    return (shift.presence == on_leave) == (wanted.presence == on_leave)


def _make_missing(site_id: int, wanted: dict[ShiftKey, Shift], span: tuple[date, date]) -> int:
    have = _existing(site_id, span)
    missing = [shift for key, shift in wanted.items() if key not in have]
    Shift.objects.bulk_create(missing, ignore_conflicts=True)
    return len(missing)


def call_in_sick(
    *, site_id: int, worker_id: int, at: datetime, shift_id: int | None = None
) -> Shift:
    """Take a worker out of the running or next shift: sick leave that day, the shift marked.

    With `shift_id` that shift alone is meant. The day's plan drops them by the change written
    here. Twice changes nothing.
    """
    with site_write(site_id, at) as write:
        worker = find_worker(site_id, worker_id)
        shifts = (
            Shift.objects.select_for_update(no_key=True)
            .filter(worker=worker, ends_at__gt=at, starts_at__lt=at + timedelta(hours=24))
            .exclude(presence=Presence.ON_LEAVE)
            .order_by("starts_at")
        )
        if shift_id is not None:
            shifts = shifts.filter(pk=shift_id)
        shift = shifts.first()
        if shift is None and shift_id is not None:
            raise StaleError(_("That shift is over or was changed. Try it again."))
        if shift is None:
            raise NoShiftError(_("%s has no shift in the next 24 hours.") % worker.name)
        if shift.presence != Presence.SICK:
            shift.presence = Presence.SICK
            shift.save(update_fields=["presence"])
            add_leave(
                site_id=site_id,
                worker_id=worker.pk,
                kind=LeaveKind.SICK,
                from_on=shift.local_date,
                until_on=shift.local_date + timedelta(days=1),
                at=at,
            )
            write.change("roster.changed", worker.pk)
    return shift


def mark_present(*, site_id: int, worker_id: int, at: datetime, is_here: bool = True) -> Shift:
    """Say that a worker is here for the running shift (or was marked so by mistake)."""
    with site_write(site_id, at) as write:
        worker = find_worker(site_id, worker_id)
        shift = (
            Shift.objects.select_for_update(no_key=True)
            .filter(worker=worker, ends_at__gt=at, starts_at__lt=at + timedelta(hours=2))
            .order_by("starts_at")
            .first()
        )
        if shift is None:
            raise NoShiftError(_("%s has no shift now.") % worker.name)
        presence = Presence.HERE if is_here else Presence.EXPECTED
        if shift.presence != presence:
            shift.presence = presence
            shift.save(update_fields=["presence"])
            write.change("roster.changed", worker.pk)
    return shift


def give_pens(
    *,
    site_id: int,
    crew_id: int,
    pattern_id: int,
    pen_ids: Sequence[int],
    local_date: date | None,
    at: datetime,
) -> int:
    """Put a crew on pens for a shift: on one local date, or from now on when it is None."""
    with site_write(site_id, at) as write:
        crew = Crew.objects.filter(site_id=site_id, id=crew_id, retired_at=None).first()
        pattern = ShiftPattern.objects.filter(
            site_id=site_id, id=pattern_id, retired_at=None
        ).first()
        pens = list(Pen.objects.filter(site_id=site_id, pk__in=pen_ids))
        if crew is None or pattern is None or len(pens) != len(set(pen_ids)):
            raise NotFoundError(_("The crew, the shift or a pen is not of this site."))
        for pen in pens:
            CrewPens.objects.update_or_create(
                site_id=site_id,
                pattern=pattern,
                pen=pen,
                local_date=local_date,
                defaults={"crew": crew},
            )
        write.change("crew_pens.changed", crew.pk)
    return len(pens)


def wish_shift(
    *,
    site_id: int,
    worker_id: int,
    local_date: date,
    pattern_id: int | None,
    at: datetime,
    is_taken_back: bool = False,
) -> bool:
    """Keep what a worker would like on a date, or take it back; say whether there is a wish."""
    refuse_date(Site.objects.get(id=site_id), local_date, at)
    with site_write(site_id, at) as write:
        worker = find_worker(site_id, worker_id)
        patterns = ShiftPattern.objects.filter(site_id=site_id, retired_at=None)
        if pattern_id is not None and not patterns.filter(pk=pattern_id).exists():
            raise NotFoundError(_("There is no such shift here."))
        if is_taken_back:
            ShiftWish.objects.filter(worker=worker, local_date=local_date).delete()
        else:
            ShiftWish.objects.update_or_create(
                site_id=site_id,
                worker=worker,
                local_date=local_date,
                defaults={"pattern_id": pattern_id},
            )
        write.touch()
    return not is_taken_back


def need_people(
    *, site_id: int, from_on: date, until_on: date, needed: Iterable[ShiftDemand], at: datetime
) -> int:
    """Put what the work of [from_on, until_on) needs in place of what it did; count changes."""
    with site_write(site_id, at) as write:
        lock_roster(site_id)
        rows = ShiftDemand.objects.filter(
            site_id=site_id, local_date__gte=from_on, local_date__lt=until_on
        )
        had = {_demand_key(row): row for row in rows}
        wanted = {_demand_key(row): row for row in needed}
        gone = [row.pk for key, row in had.items() if key not in wanted]
        new = [row for key, row in wanted.items() if key not in had]
        ShiftDemand.objects.filter(pk__in=gone).delete()
        ShiftDemand.objects.bulk_create(new, ignore_conflicts=True)
        if gone or new:
            write.touch()
    return len(gone) + len(new)


def _demand_key(row: ShiftDemand) -> tuple[object, ...]:
    return row.pattern_id, row.skill_id, row.local_date, row.least, row.target


def keep_shifts_ahead(*, site_id: int, at: datetime) -> int:
    """Make the shifts from yesterday until two weeks ahead."""
    site = Site.objects.get(id=site_id)
    today = local_date_of(at, site.zone)
    return plan_shifts(
        site_id=site_id, from_on=today - timedelta(days=1), until_on=today + AHEAD, at=at
    )
