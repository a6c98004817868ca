"""A calendar read by several programs at one moment: a change counts once."""

import uuid
from contextlib import suppress
from threading import Barrier, BrokenBarrierError
from typing import Any

import pytest
from django.db import IntegrityError

from crews.roster.models import Shift
from schedules.calendars import contents, services
from schedules.calendars.models import Calendar, CalendarEntry, CalendarKind
from schedules.calendars.services import bring_up_to_date, make_link
from tests.concurrency.threads import run_together
from tests.factories import make_shift, make_site, make_worker, utc

pytestmark = pytest.mark.django_db(transaction=True)

NOON = utc("2026-03-04 12:00")
MEET_S = 1.0  # how long one waits for another that the lock keeps away


@pytest.fixture
def calendar() -> Calendar:
    worker = make_worker(make_site("ours"), "ana")
    make_shift(worker, NOON)
    return make_link(
        site_id=worker.site_id,
        kind=CalendarKind.WORKER,
        subject_id=worker.pk,
        token=f"{uuid.uuid4()}",
        by=worker.actor,
        at=NOON,
    )


def read(calendar: Calendar) -> list[CalendarEntry]:
    return bring_up_to_date(Calendar.objects.get(pk=calendar.pk), NOON)


def test_change_counts_once_however_many_read_it(calendar: Calendar) -> None:
    first = run_together(*(lambda: read(calendar) for _n in range(4)))
    Shift.objects.update(ends_at=utc("2026-03-04 19:00"))
    again = run_together(*(lambda: read(calendar) for _n in range(4)))

    def sequences(ends: list[Any]) -> set[int]:
        return {entry.sequence for entries in ends for entry in entries}

    assert (sequences(first), sequences(again)) == ({0}, {1})
    assert CalendarEntry.objects.count() == 1


def test_without_the_lock_two_would_write_the_same_event(
    calendar: Calendar, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = Calendar.objects.all()
    monkeypatch.setattr(Calendar.objects, "select_for_update", lambda **_how: plain)
    meet = Barrier(2)
    items_of = contents.items_of

    def read_together(calendar: Calendar, at: Any) -> Any:
        with suppress(BrokenBarrierError):
            meet.wait(MEET_S)
        return items_of(calendar, at)

    show = services._show

    def show_together(*facts: Any) -> None:
        with suppress(BrokenBarrierError):
            meet.wait(MEET_S)
        show(*facts)

    monkeypatch.setattr(services, "items_of", read_together)
    monkeypatch.setattr(services, "_show", show_together)

    ends = run_together(*(lambda: read(calendar) for _n in range(2)))

    assert sum(isinstance(end, IntegrityError) for end in ends) == 1
