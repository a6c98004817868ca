"""A roster that was asked for: made once at a time, stopped, gone on with, published, changed."""

from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any
from unittest.mock import patch

import pytest
import time_machine

from crews.errors import RosterBreaksError, RosterSpanError, RosterStateError, SwapStateError
from crews.people.models import LeaveKind, Worker
from crews.people.services import add_leave
from crews.roster import rosters
from crews.roster.build import Kinds
from crews.roster.calc.solution import Solution
from crews.roster.days import ask_swap, judge_swap, put_shift, settle_swap
from crews.roster.models import (
    Presence,
    RosterRun,
    RosterState,
    Rotation,
    Shift,
    ShiftDemand,
    ShiftPattern,
    SwapRequest,
    SwapState,
)
from crews.roster.rosters import (
    RUN_KIND,
    begin_roster,
    cancel_roster,
    publish_roster,
    search_on,
    solution_of,
)
from crews.roster.services import plan_shifts
from crews.roster.words import FAILED, Names, say_why
from equipment.site.models import Change, Site, TaskRun
from equipment.site.runs import MAX_ATTEMPTS, perform
from tests.crews.roster.test_build import MONDAY, NEXT, NOW, make_pattern, turn
from tests.factories import make_worker, utc

pytestmark = pytest.mark.django_db(transaction=True)  # a search looks from a thread of its own

TUESDAY = MONDAY + timedelta(days=1)


@pytest.fixture(autouse=True)
def short_parts() -> Iterator[None]:
    with (
        patch.object(rosters, "PART_S", 4.0),
        patch.object(rosters, "EXPLAIN_S", 8.0),
        time_machine.travel(NOW + timedelta(minutes=1)),
    ):
        yield


@pytest.fixture
def people(site: Site, day: ShiftPattern) -> list[Worker]:
    workers = [make_worker(site, key) for key in ("ana", "beto", "caro")]
    for worker in workers[:2]:
        turn(worker, day)
    return workers


def begin(site: Site, **facts: Any) -> RosterRun:
    usual: dict[str, Any] = {"from_on": MONDAY, "until_on": NEXT, "by": None, "at": NOW}
    return begin_roster(site_id=site.pk, **{**usual, **facts})


def work_off(site: Site) -> RosterRun:
    for run in TaskRun.objects.filter(kind=RUN_KIND, state="waiting").order_by("pk"):
        assert perform(run.pk, now=NOW + timedelta(hours=2))
    return RosterRun.objects.filter(site=site).latest("pk")


def test_a_week_is_made_and_published(site: Site, people: list[Worker]) -> None:
    begin(site)
    draft = work_off(site)
    assert (draft.state, draft.cost, draft.gap_frac) == (RosterState.DRAFT, 0, 0)
    assert not Shift.objects.exists()

    published = publish_roster(site_id=site.pk, run_id=draft.pk, at=NOW)

    worked = Shift.objects.order_by("local_date", "worker__key")
    assert [(s.worker.key, s.local_date.day) for s in worked] == [
        (key, on) for on in range(9, 14) for key in ("ana", "beto")
    ]
    assert len(published.told) == 10
    told = Change.objects.filter(topic="roster.changed").values_list("subject_id", flat=True)
    assert set(told) == {str(people[0].pk), str(people[1].pk)}
    with pytest.raises(RosterStateError):
        publish_roster(site_id=site.pk, run_id=draft.pk, at=NOW)


def test_rotations_do_not_overwrite_a_published_week(site: Site, people: list[Worker]) -> None:
    ShiftDemand.objects.create(
        site=site, pattern=ShiftPattern.objects.get(), local_date=MONDAY, least=3, target=3
    )
    begin(site)
    publish_roster(site_id=site.pk, run_id=work_off(site).pk, at=NOW)
    assert Shift.objects.filter(worker=people[2]).count() == 1  # who has no rotation
    before = set(Shift.objects.values_list("pk", flat=True))

    until = NEXT + timedelta(days=7)
    plan_shifts(site_id=site.pk, from_on=date(2026, 3, 5), until_on=until, at=NOW)

    within = Shift.objects.filter(local_date__gte=MONDAY, local_date__lt=NEXT)
    assert set(within.values_list("pk", flat=True)) == before
    assert Shift.objects.filter(local_date__gte=NEXT).count() == 10  # the week after turns


def test_the_last_night_leaves_rest_before_what_follows(site: Site, people: list[Worker]) -> None:
    """Two turn in on Monday morning; the third alone may do Sunday's night."""
    night = make_pattern(site, "night", 22)
    sunday = NEXT - timedelta(days=1)
    ShiftDemand.objects.create(site=site, pattern=night, local_date=sunday, least=1, target=3)
    until = NEXT + timedelta(days=7)
    plan_shifts(site_id=site.pk, from_on=NEXT, until_on=until, at=NOW)
    begin(site)

    publish_roster(site_id=site.pk, run_id=work_off(site).pk, at=NOW)

    on = Shift.objects.filter(local_date=sunday, pattern=night)
    assert [s.worker.key for s in on] == ["caro"]
    assert Shift.objects.filter(local_date=NEXT).count() == 2


def test_nobody_is_put_on_two_shifts_at_once_even_so(site: Site, people: list[Worker]) -> None:
    long = make_pattern(site, "long", 22, minutes=600)  # to 8:00, when the day has begun
    plan_shifts(site_id=site.pk, from_on=MONDAY, until_on=NEXT, at=NOW)
    with pytest.raises(RosterBreaksError, match="Ana would be on two shifts at once"):
        put_shift(
            site_id=site.pk,
            worker_id=people[0].pk,
            on=MONDAY,
            pattern_id=long.pk,
            is_anyway=True,
            at=NOW,
        )
    assert Shift.objects.filter(worker=people[0], local_date=MONDAY, pattern__key="day").exists()


def test_leave_told_after_publishing_takes_the_shift_out(site: Site, people: list[Worker]) -> None:
    begin(site)
    publish_roster(site_id=site.pk, run_id=work_off(site).pk, at=NOW)
    _leave(people[0], TUESDAY)

    plan_shifts(site_id=site.pk, from_on=MONDAY, until_on=NEXT, at=NOW)

    presence = dict(Shift.objects.filter(worker=people[0]).values_list("local_date", "presence"))
    assert presence.pop(TUESDAY) == Presence.ON_LEAVE
    assert set(presence.values()) == {Presence.EXPECTED}


def _leave(worker: Worker, on: date) -> None:
    add_leave(
        site_id=worker.site_id,
        worker_id=worker.pk,
        kind=LeaveKind.VACATION,
        from_on=on,
        until_on=on + timedelta(days=1),
        at=NOW,
    )


def test_the_latest_asked_for_wins(site: Site, people: list[Worker]) -> None:
    first, second = begin(site), begin(site, at=NOW + timedelta(seconds=1))
    work_off(site)
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.state, second.state) == (RosterState.CANCELLED, RosterState.DRAFT)
    assert first.solution is None


def test_given_up_in_mid_search_keeps_nothing(site: Site, people: list[Worker]) -> None:
    run = begin(site)
    found = search_on(run)
    assert found is not None
    cancel_roster(site_id=site.pk, run_id=run.pk, at=NOW)

    assert not rosters.keep_part(run=run, found=found, at=NOW)

    run.refresh_from_db()
    assert (run.state, run.solution) == (RosterState.CANCELLED, None)
    assert search_on(run) is None


def test_a_killed_search_is_gone_on_with_from_its_last_part(
    site: Site, people: list[Worker]
) -> None:
    run = begin(site)
    task = TaskRun.objects.get(kind=RUN_KIND)
    with (
        patch("crews.roster.tasks.finish_roster", side_effect=KeyboardInterrupt),
        pytest.raises(KeyboardInterrupt),
    ):
        perform(task.pk, now=NOW + timedelta(minutes=1))
    run.refresh_from_db()
    assert (run.state, run.cost) == (RosterState.SOLVING, 0)  # its part is kept

    assert perform(task.pk, now=NOW + timedelta(minutes=30))  # the lease ran out

    run.refresh_from_db()
    assert run.state == RosterState.DRAFT


def test_facts_that_moved_in_the_meantime_are_searched_anew(
    site: Site, people: list[Worker]
) -> None:
    run = begin(site)
    real = rosters.search_on

    def and_meanwhile(asked: RosterRun) -> Solution | None:
        found = real(asked)
        _leave(people[0], TUESDAY)
        return found

    with patch("crews.roster.tasks.search_on", and_meanwhile):
        perform(TaskRun.objects.get(kind=RUN_KIND).pk, now=NOW + timedelta(minutes=1))
    run.refresh_from_db()
    assert (run.state, run.solution) == (RosterState.SOLVING, None)

    draft = work_off(site)

    assert draft.state == RosterState.DRAFT
    solution = solution_of(draft)
    assert solution is not None
    assert ("ana", TUESDAY) not in {(a.person, a.on) for a in solution.assignments}


def test_a_draft_that_breaks_what_is_true_now_is_not_published(
    site: Site, people: list[Worker]
) -> None:
    begin(site)
    draft = work_off(site)
    _leave(people[0], TUESDAY)

    with pytest.raises(RosterBreaksError) as refused:
        publish_roster(site_id=site.pk, run_id=draft.pk, at=NOW)

    assert "Ana is away on Tue 10 Mar." in str(refused.value)
    assert not Shift.objects.exists()


def test_what_cannot_be_says_why(site: Site, people: list[Worker], day: ShiftPattern) -> None:
    ShiftDemand.objects.create(site=site, pattern=day, local_date=MONDAY, least=3, target=3)
    _leave(people[2], MONDAY)
    begin(site)

    run = work_off(site)

    assert (run.state, run.solution) == (RosterState.IMPOSSIBLE, None)
    why = say_why(run.why, Names.of(site.pk, Kinds.of(site.pk)))
    assert why[0]["clash"] == [
        "Caro is away on Mon 9 Mar",
        "the least for Mon 9 Mar, Day, any work",
    ]
    assert {tuple(way["give_up"]) for way in why[1:]} == {
        ("Caro is away on Mon 9 Mar",),
        ("the least for Mon 9 Mar, Day, any work",),
    }


def test_facts_that_make_no_roster_any_more_end_it(site: Site, people: list[Worker]) -> None:
    run = begin(site)
    ShiftPattern.objects.update(retired_at=NOW)

    assert work_off(site).state == RosterState.FAILED

    run.refresh_from_db()
    assert [str(FAILED[one["failed"]])[:29] for one in run.why] == ["The farm file names no shifts"]
    assert run.finished_at is not None


def test_search_that_fails_for_good_ends_it(site: Site, people: list[Worker]) -> None:
    run = begin(site)
    with patch("crews.roster.rosters.solve_week", side_effect=RuntimeError):
        for n in range(1, MAX_ATTEMPTS + 1):
            run.refresh_from_db()
            assert run.state == RosterState.SOLVING
            perform(TaskRun.objects.get(kind=RUN_KIND).pk, now=NOW + timedelta(hours=n))
            tidy(site)

    run.refresh_from_db()
    assert (run.state, run.why) == (RosterState.FAILED, [{"failed": "search"}])

    begin(site, at=NOW + timedelta(minutes=1))
    tidy(site)  # the one that is over is no reason to end the new one
    assert work_off(site).state == RosterState.DRAFT


def tidy(site: Site) -> None:
    task = TaskRun.objects.create(
        site=site,
        kind="roster.tidy",
        dedupe_key=str(TaskRun.objects.count()),
        due_at=NOW,
        created_at=NOW,
    )
    assert perform(task.pk, now=NOW)


@pytest.mark.parametrize(
    ("from_on", "until_on"),
    [
        (date(2026, 3, 3), NEXT),
        (MONDAY, MONDAY),
        (MONDAY, MONDAY + timedelta(days=29)),
        (date(2026, 7, 1), date(2026, 7, 8)),
    ],
)
def test_a_period_that_cannot_be_is_refused(
    site: Site, people: list[Worker], from_on: date, until_on: date
) -> None:
    with pytest.raises(RosterSpanError):
        begin(site, from_on=from_on, until_on=until_on)


def test_a_farm_without_shifts_has_no_roster(site: Site) -> None:
    with pytest.raises(RosterSpanError):
        begin(site)


def test_an_absence_is_refilled_with_one_change(site: Site, people: list[Worker]) -> None:
    begin(site)
    publish_roster(site_id=site.pk, run_id=work_off(site).pk, at=NOW)
    _leave(people[0], TUESDAY)
    plan_shifts(site_id=site.pk, from_on=MONDAY, until_on=NEXT, at=NOW)

    begin(site, is_refill=True, at=NOW + timedelta(hours=1))
    refilled = publish_roster(site_id=site.pk, run_id=work_off(site).pk, at=NOW)

    assert [(one["worker"], one["was"], one["now"]) for one in refilled.told] == [
        (people[2].pk, None, "day")
    ]
    tuesday = Shift.objects.filter(local_date=TUESDAY).order_by("worker__key")
    assert [s.presence for s in tuesday] == ["on_leave", "expected", "expected"]


# By hand and by swap ------------------------------------------------------------------------------


@pytest.fixture
def planned(site: Site, people: list[Worker]) -> list[Worker]:
    plan_shifts(site_id=site.pk, from_on=MONDAY, until_on=NEXT, at=NOW)
    return people


def test_a_swap_hands_a_shift_over(site: Site, planned: list[Worker]) -> None:
    ana, _beto, caro = planned
    swap = _ask(site, ana, caro)
    assert judge_swap(swap, NOW).broken == []

    done = _settle(swap)

    assert done.state == SwapState.APPROVED
    tuesday = Shift.objects.filter(local_date=TUESDAY).order_by("worker__key")
    assert [s.worker.key for s in tuesday] == ["beto", "caro"]
    with pytest.raises(SwapStateError):
        _settle(swap, is_approved=False)


def _ask(site: Site, giver: Worker, taker: Worker, **facts: Any) -> SwapRequest:
    usual: dict[str, Any] = {"local_date": TUESDAY, "for_date": None, "by": giver.actor, "at": NOW}
    return ask_swap(
        site_id=site.pk,
        worker_id=giver.pk,
        to_worker_id=taker.pk,
        **{**usual, **facts},
    )


def _settle(swap: SwapRequest, *, is_approved: bool = True) -> SwapRequest:
    return settle_swap(
        site_id=swap.site_id,
        swap_id=swap.pk,
        asked_at=swap.asked_at,
        is_approved=is_approved,
        by=swap.by,
        at=NOW,
    )


def test_swap_asked_for_otherwise_since_it_was_read_is_not_answered(
    site: Site, planned: list[Worker]
) -> None:
    ana, _beto, caro = planned
    dana = make_worker(site, "dana")
    read = _ask(site, ana, caro)
    again = _ask(site, ana, dana, at=NOW + timedelta(minutes=1))
    assert again.pk == read.pk

    with pytest.raises(SwapStateError, match="asked for anew"):
        _settle(read)

    assert _settle(again).state == SwapState.APPROVED


def test_two_shifts_of_one_date_are_exchanged(site: Site, planned: list[Worker]) -> None:
    ana, _beto, caro = planned
    night = make_pattern(site, "night", 22)
    turn(caro, night)
    plan_shifts(site_id=site.pk, from_on=TUESDAY, until_on=TUESDAY + timedelta(days=1), at=NOW)
    Shift.objects.filter(worker=ana, local_date=TUESDAY + timedelta(days=1)).delete()
    swap = _ask(site, ana, caro, for_date=TUESDAY)

    _settle(swap)

    kinds = {s.worker.key: s.pattern.key for s in Shift.objects.filter(local_date=TUESDAY)}
    assert kinds == {"ana": "night", "beto": "day", "caro": "day"}


def test_a_swap_that_breaks_the_rest_is_refused_in_words(site: Site, planned: list[Worker]) -> None:
    ana, _beto, caro = planned
    night = make_pattern(site, "night", 22)
    Rotation.objects.create(
        site=site, worker=caro, pattern=night, days_on=1, days_off=6, anchor_on=MONDAY
    )
    plan_shifts(site_id=site.pk, from_on=MONDAY, until_on=TUESDAY, at=NOW)
    swap = _ask(site, ana, caro)  # the night of Monday ends as Tuesday's day begins

    with pytest.raises(RosterBreaksError) as refused:
        _settle(swap)

    assert "Caro rests 0.0 h before Tue 10 Mar; 11 h are due." in str(refused.value)
    assert [e.code for e in refused.value.errors] == ["breaks"]
    assert Shift.objects.filter(worker=ana, local_date=TUESDAY).exists()


@pytest.mark.parametrize("which", ["gone", "taken", "here", "begun"])
def test_a_swap_of_what_is_not_there_is_refused(
    site: Site, planned: list[Worker], which: str
) -> None:
    ana, beto, caro = planned
    taker, at = {"gone": (caro, NOW), "begun": (caro, None)}.get(which, (beto, NOW))
    if which == "here":  # whoever is marked so early has a shift even so
        Shift.objects.filter(worker=beto, local_date=TUESDAY).update(presence=Presence.HERE)
    if which == "gone":
        Shift.objects.filter(worker=ana, local_date=TUESDAY).delete()
    with pytest.raises(SwapStateError):
        _ask(site, ana, taker, at=at or utc("2026-03-10 18:00"))


def test_put_by_hand_says_what_it_breaks_and_may_be_done_anyway(
    site: Site, planned: list[Worker], day: ShiftPattern
) -> None:
    caro = planned[2]
    _leave(caro, TUESDAY)
    asked: dict[str, Any] = {
        "site_id": site.pk,
        "worker_id": caro.pk,
        "on": TUESDAY,
        "pattern_id": day.pk,
        "at": NOW,
    }
    with pytest.raises(RosterBreaksError, match="Caro is away on Tue 10 Mar"):
        put_shift(**asked)
    assert not Shift.objects.filter(worker=caro).exists()

    judged = put_shift(**asked, is_anyway=True)

    assert judged.broken == ["Caro is away on Tue 10 Mar."]
    assert Shift.objects.filter(worker=caro, local_date=TUESDAY).exists()


def test_taken_by_hand_leaves_the_date_free(site: Site, planned: list[Worker]) -> None:
    ana = planned[0]
    put_shift(site_id=site.pk, worker_id=ana.pk, on=TUESDAY, pattern_id=None, at=NOW)
    assert not Shift.objects.filter(worker=ana, local_date=TUESDAY).exists()


def test_who_is_here_or_sick_stays(site: Site, planned: list[Worker]) -> None:
    ana = planned[0]
    Shift.objects.filter(worker=ana, local_date=MONDAY).update(presence=Presence.HERE)
    Shift.objects.filter(worker=ana, local_date=TUESDAY).update(presence=Presence.SICK)
    kept = set(
        Shift.objects.filter(worker=ana, local_date__lte=TUESDAY).values_list("pk", "presence")
    )
    Rotation.objects.filter(worker=ana).delete()
    begin(site)
    publish_roster(site_id=site.pk, run_id=work_off(site).pk, at=NOW)
    after = Shift.objects.filter(worker=ana, local_date__lte=TUESDAY)
    assert set(after.values_list("pk", "presence")) == kept
