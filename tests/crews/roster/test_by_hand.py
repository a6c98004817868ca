"""Days changed by hand or by a swap: no planning undoes them, and the next draft has them."""

from collections.abc import Iterator
from datetime import timedelta
from unittest.mock import patch

import pytest
import time_machine

from crews.errors import RosterBreaksError
from crews.people.models import Leave, LeaveKind, Worker
from crews.roster import rosters
from crews.roster.days import ask_swap, put_shift, settle_swap
from crews.roster.models import DayByHand, Presence, Rotation, Shift, ShiftPattern
from crews.roster.rosters import publish_roster
from crews.roster.services import plan_shifts
from equipment.site.models import Site
from tests.crews.roster.test_build import MONDAY, NEXT, NOW, make_pattern, turn
from tests.crews.roster.test_rosters import begin, work_off
from tests.factories import make_worker

pytestmark = pytest.mark.django_db(transaction=True)  # a search looks from a thread of its own

TUESDAY = MONDAY + timedelta(days=1)


@pytest.fixture(autouse=True)
def short_parts() -> Iterator[None]:
    with (
        patch.object(rosters, "PART_S", 4.0),
        time_machine.travel(NOW + timedelta(minutes=1)),
    ):
        yield


@pytest.fixture
def people(site: Site, day: ShiftPattern) -> list[Worker]:
    """Ana and Beto turn through the days of a week that nobody published; Caro does not."""
    workers = [make_worker(site, key) for key in ("ana", "beto", "caro")]
    for worker in workers[:2]:
        turn(worker, day)
    plan(site)
    return workers


def plan(site: Site) -> None:
    plan_shifts(site_id=site.pk, from_on=MONDAY, until_on=NEXT, at=NOW)


def put(worker: Worker, pattern: ShiftPattern | None, *, is_anyway: bool = False) -> None:
    put_shift(
        site_id=worker.site_id,
        worker_id=worker.pk,
        on=TUESDAY,
        pattern_id=pattern.pk if pattern else None,
        is_anyway=is_anyway,
        at=NOW + timedelta(hours=1),
    )


def swap(giver: Worker, taker: Worker) -> None:
    site_id, by = giver.site_id, giver.actor
    asked = ask_swap(
        site_id=site_id,
        worker_id=giver.pk,
        local_date=TUESDAY,
        to_worker_id=taker.pk,
        for_date=None,
        by=by,
        at=NOW,
    )
    settle_swap(
        site_id=site_id,
        swap_id=asked.pk,
        asked_at=asked.asked_at,
        is_approved=True,
        by=by,
        at=NOW,
    )


def on_tuesday() -> dict[str, str]:
    rows = Shift.objects.filter(local_date=TUESDAY, presence=Presence.EXPECTED)
    return dict(rows.order_by("worker__key").values_list("worker__key", "pattern__key"))


def test_planning_leaves_what_was_put_by_hand(
    site: Site, people: list[Worker], day: ShiftPattern
) -> None:
    ana, beto, caro = people
    late = make_pattern(site, "late", 14)
    put(ana, None)
    put(beto, late, is_anyway=True)  # the next morning's shift leaves 8 h of rest
    put(caro, day)
    decided = {"beto": "late", "caro": "day"}
    assert on_tuesday() == decided

    plan(site)

    assert on_tuesday() == decided
    Shift.objects.all().delete()
    plan(site)
    assert on_tuesday() == decided


def test_planning_leaves_an_approved_swap(site: Site, people: list[Worker]) -> None:
    ana, _beto, caro = people
    swap(ana, caro)
    plan(site)
    assert on_tuesday() == {"beto": "day", "caro": "day"}


def test_put_on_a_day_of_leave_is_expected_and_leave_said_later_is_not(
    site: Site, people: list[Worker], day: ShiftPattern
) -> None:
    ana, _beto, caro = people
    leave = {"kind": LeaveKind.VACATION, "from_on": TUESDAY, "until_on": NEXT}
    Leave.objects.create(site=site, worker=caro, **leave)
    put(caro, day, is_anyway=True)
    plan(site)
    assert on_tuesday() == {"ana": "day", "beto": "day", "caro": "day"}

    put(ana, None)
    put(ana, day)
    Leave.objects.create(site=site, worker=ana, **leave)
    plan(site)
    assert on_tuesday() == {"beto": "day", "caro": "day"}


def test_what_was_put_last_stands(site: Site, people: list[Worker], day: ShiftPattern) -> None:
    ana = people[0]
    put(ana, None)
    put(ana, day)
    plan(site)
    assert on_tuesday() == {"ana": "day", "beto": "day"}
    assert DayByHand.objects.count() == 1


def test_shift_put_by_hand_and_not_in_use_any_more_is_a_turn_again(
    site: Site, people: list[Worker]
) -> None:
    late = make_pattern(site, "late", 14)
    put(people[0], late, is_anyway=True)
    ShiftPattern.objects.filter(pk=late.pk).update(retired_at=NOW)
    plan(site)
    assert on_tuesday() == {"ana": "day", "beto": "day"}


def test_what_was_put_by_hand_goes_before_a_turn_at_the_same_hours(
    site: Site, people: list[Worker]
) -> None:
    ana = people[0]
    put(ana, make_pattern(site, "dawn", 4), is_anyway=True)
    Rotation.objects.filter(worker=ana).update(pattern=make_pattern(site, "night", 22))
    Shift.objects.all().delete()
    plan(site)  # the night of Monday would end at six on Tuesday
    assert on_tuesday() == {"ana": "dawn", "beto": "day"}
    assert not Shift.objects.filter(worker=ana, local_date=MONDAY).exists()


def test_next_draft_has_it(site: Site, people: list[Worker], day: ShiftPattern) -> None:
    """Two turn, so two are needed; that Ana is free by hand is no reason to call her back."""
    ana, _beto, caro = people
    put(ana, None)
    put(caro, day)
    begin(site, at=NOW + timedelta(hours=2))
    draft = work_off(site)
    assert draft.cost == 0

    publish_roster(site_id=site.pk, run_id=draft.pk, at=NOW + timedelta(hours=3))

    assert on_tuesday() == {"beto": "day", "caro": "day"}


def test_draft_made_before_does_not_undo_it(
    site: Site, people: list[Worker], day: ShiftPattern
) -> None:
    begin(site)
    draft = work_off(site)
    later = NOW + timedelta(hours=2)
    put(people[2], day)

    with pytest.raises(RosterBreaksError, match="Caro's Tue 10 Mar was changed by hand since"):
        publish_roster(site_id=site.pk, run_id=draft.pk, at=later)

    put(people[2], None)  # as the draft has it
    publish_roster(site_id=site.pk, run_id=draft.pk, at=later)
    assert on_tuesday() == {"ana": "day", "beto": "day"}


def test_day_published_otherwise_is_by_hand_no_more(
    site: Site, people: list[Worker], day: ShiftPattern
) -> None:
    caro = people[2]
    put(caro, day)
    Leave.objects.create(
        site=site,
        worker=caro,
        kind=LeaveKind.VACATION,
        from_on=TUESDAY,
        until_on=TUESDAY + timedelta(days=1),
    )
    begin(site, at=NOW + timedelta(hours=2))
    with time_machine.travel(NOW + timedelta(hours=2)):
        draft = work_off(site)

    publish_roster(site_id=site.pk, run_id=draft.pk, at=NOW + timedelta(hours=3))

    assert on_tuesday() == {"ana": "day", "beto": "day"}
    assert not DayByHand.objects.exists()
