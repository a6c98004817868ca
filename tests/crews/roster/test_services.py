"""The roster: shifts from rotations, once each; sick in one call; pens by crew."""

from datetime import date, time, timedelta

import pytest

from crews.errors import LeaveSpanError, NoShiftError
from crews.people.models import Crew, Leave, LeaveKind, Worker
from crews.people.services import add_leave
from crews.roster.models import Presence, Rotation, Shift, ShiftPattern
from crews.roster.queries import crews_of_pens, working_shifts
from crews.roster.services import call_in_sick, give_pens, mark_present, plan_shifts
from equipment.site.errors import NotFoundError
from equipment.site.models import Change, Site
from tests.factories import make_pen, make_site, make_worker, utc

pytestmark = pytest.mark.django_db

NOW = utc("2026-03-04 12:00")
FIRST, LAST = date(2026, 3, 5), date(2026, 3, 17)


@pytest.fixture
def site() -> Site:
    return make_site()


@pytest.fixture
def nights(site: Site) -> ShiftPattern:
    return ShiftPattern.objects.create(
        site=site, key="night", name="Night", starts_local=time(22), duration_min=480
    )


@pytest.fixture
def ana(site: Site, nights: ShiftPattern) -> Worker:
    worker = make_worker(site, "ana")
    Rotation.objects.create(
        site=site, worker=worker, pattern=nights, days_on=4, days_off=2, anchor_on=FIRST
    )
    return worker


def _plan(site: Site) -> int:
    return plan_shifts(site_id=site.pk, from_on=FIRST, until_on=LAST, at=NOW)


def test_four_on_two_off_gives_eight_shifts_in_twelve_days(site: Site, ana: Worker) -> None:
    _plan(site)
    days = [s.local_date.day for s in Shift.objects.order_by("local_date")]
    assert days == [5, 6, 7, 8, 11, 12, 13, 14]


def test_planning_twice_changes_nothing(site: Site, ana: Worker) -> None:
    _plan(site)
    before = list(Shift.objects.order_by("id").values_list("id", "presence"))
    assert _plan(site) == 0
    assert list(Shift.objects.order_by("id").values_list("id", "presence")) == before


def test_the_night_of_the_spring_gap_is_seven_hours(site: Site, ana: Worker) -> None:
    # tzdata: America/Denver skips 02:00 to 03:00 on 2026-03-08.
    _plan(site)
    night = Shift.objects.get(local_date=date(2026, 3, 7))
    assert night.ends_at - night.starts_at == timedelta(hours=7)


def test_leave_takes_a_worker_out_and_its_end_brings_them_back(site: Site, ana: Worker) -> None:
    _plan(site)
    leave = add_leave(
        site_id=site.pk,
        worker_id=ana.pk,
        kind=LeaveKind.VACATION,
        from_on=date(2026, 3, 6),
        until_on=date(2026, 3, 8),
        at=NOW,
    )
    _plan(site)
    away = Shift.objects.filter(presence=Presence.ON_LEAVE)
    assert [s.local_date.day for s in away.order_by("local_date")] == [6, 7]
    leave.delete()
    _plan(site)
    assert not Shift.objects.filter(presence=Presence.ON_LEAVE).exists()


def test_leave_must_end_after_it_begins(site: Site, ana: Worker) -> None:
    with pytest.raises(LeaveSpanError):
        add_leave(
            site_id=site.pk,
            worker_id=ana.pk,
            kind=LeaveKind.OTHER,
            from_on=FIRST,
            until_on=FIRST,
            at=NOW,
        )


def test_sick_is_one_call_and_stays_through_the_next_planning(site: Site, ana: Worker) -> None:
    _plan(site)
    at = utc("2026-03-06 01:00")  # 18:00 on 5 March in Denver, four hours before the shift
    call_in_sick(site_id=site.pk, worker_id=ana.pk, at=at)
    call_in_sick(site_id=site.pk, worker_id=ana.pk, at=at)
    _plan(site)
    shift = Shift.objects.get(local_date=FIRST)
    assert shift.presence == Presence.SICK
    assert Leave.objects.filter(worker=ana, kind=LeaveKind.SICK).count() == 1
    assert shift not in working_shifts(site.pk, shift.starts_at, shift.ends_at)
    assert Change.objects.filter(topic="roster.changed", subject_id=str(ana.pk)).count() == 2


def test_nobody_is_sick_from_a_shift_they_do_not_have(site: Site, ana: Worker) -> None:
    with pytest.raises(NoShiftError):
        call_in_sick(site_id=site.pk, worker_id=ana.pk, at=NOW)


def test_another_sites_worker_is_not_there(site: Site, ana: Worker) -> None:
    with pytest.raises(NotFoundError):
        call_in_sick(site_id=make_site("other").pk, worker_id=ana.pk, at=NOW)


def test_a_worker_is_marked_here_and_back(site: Site, ana: Worker) -> None:
    _plan(site)
    at = utc("2026-03-06 05:30")
    assert mark_present(site_id=site.pk, worker_id=ana.pk, at=at).presence == Presence.HERE
    back = mark_present(site_id=site.pk, worker_id=ana.pk, at=at, is_here=False)
    assert back.presence == Presence.EXPECTED


def test_a_dates_own_crew_comes_before_the_standing_one(site: Site, nights: ShiftPattern) -> None:
    usual, other = (Crew.objects.create(site=site, key=k, name=k) for k in ("a", "b"))
    pen = make_pen(site)
    for crew, day in ((usual, None), (other, FIRST)):
        give_pens(
            site_id=site.pk,
            crew_id=crew.pk,
            pattern_id=nights.pk,
            pen_ids=[pen.pk],
            local_date=day,
            at=NOW,
        )
    found = crews_of_pens(site.pk, [FIRST, LAST])
    assert found[(nights.pk, pen.pk, FIRST)] == other.pk
    assert found[(nights.pk, pen.pk, LAST)] == usual.pk
