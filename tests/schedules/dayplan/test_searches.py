"""The one search of a site: mended at once, bettered in slices, overtaken, stopped."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from equipment.site.models import Place, RunState, TaskRun
from equipment.site.runs import enqueue, perform
from schedules.dayplan.calc.model import Progress
from schedules.dayplan.models import Assignment, DaySearch, PlanRun
from schedules.dayplan.searches import (
    ask_search,
    end_search,
    search_of,
    stop_search,
    take_search,
    watch,
)
from schedules.dayplan.services import put_plan, solve_site
from schedules.dayplan.tasks import SLICE_S, solve
from schedules.dayplan.told import net_changes
from schedules.errors import NoSearchError

from .test_services import NOW, Morning

pytestmark = pytest.mark.django_db
EARLIER = datetime.now(UTC) - timedelta(minutes=1)
HERE = Progress(n_iterations=7, elapsed_s=2.0, cost=90.0, n_left_out=1, bound_cost=60.0)


@pytest.fixture
def morning(monkeypatch: pytest.MonkeyPatch) -> Morning:
    """Give the morning, at its own hour."""

    class Clock(datetime):
        @classmethod
        def now(cls, tz: Any = None) -> Any:
            return NOW.astimezone(tz)

    monkeypatch.setattr("schedules.dayplan.tasks.datetime", Clock)
    return Morning()


def make_run(morning: Morning, kind: str = "dayplan.solve", **args: Any) -> TaskRun:
    key = f"{kind}{TaskRun.objects.count()}"
    enqueue(kind, key=key, site_id=morning.site.pk, at=EARLIER, args=args)
    return TaskRun.objects.get(kind=kind, dedupe_key=key)


def waiting(kind: str) -> list[TaskRun]:
    return list(TaskRun.objects.filter(kind=kind, state=RunState.WAITING))


def test_a_plan_is_put_in_place_at_once_and_bettered_after(morning: Morning) -> None:
    order = morning.order("one")
    Place.objects.filter(pk=order.place_id).update(x_m=800)  # the way there is a cost
    assert perform(make_run(morning, seconds=40).pk)

    assert PlanRun.objects.count() == 1
    [rest] = waiting("dayplan.improve")
    assert rest.args == {"seconds": 40}


def test_a_long_search_puts_its_plan_in_place_slice_by_slice(morning: Morning) -> None:
    assert perform(make_run(morning, "dayplan.improve", seconds=SLICE_S / 100).pk)

    assert PlanRun.objects.count() == 1
    assert waiting("dayplan.improve") == []
    assert not search_of(morning.site.pk).is_running


def test_a_search_that_a_later_one_waits_behind_is_left_out(morning: Morning) -> None:
    first, _later = make_run(morning, seconds=0), make_run(morning, seconds=0)

    assert perform(first.pk)

    assert not PlanRun.objects.exists()


def test_the_plan_of_a_later_run_stands(morning: Morning) -> None:
    morning.order("one")
    first, later = make_run(morning), make_run(morning)
    solved = solve_site(morning.site.pk, NOW, 0.1)
    put: dict[str, Any] = {"site_id": morning.site.pk, "solved": solved, "at": NOW}

    assert put_plan(**put, run_id=first.pk) is not None  # nobody need wait for the later one
    assert put_plan(**put, run_id=later.pk) is not None
    assert put_plan(**put, run_id=first.pk) is None
    assert PlanRun.objects.count() == 2
    assert Assignment.objects.count() == 1


def test_what_was_overtaken_asks_for_no_more(morning: Morning) -> None:
    order = morning.order("one")
    Place.objects.filter(pk=order.place_id).update(x_m=800)
    run, later = make_run(morning, seconds=40), make_run(morning, seconds=40)
    take_search(run, left_s=40)
    solved = solve_site(morning.site.pk, NOW, 0.1)
    take_search(later, left_s=40)

    solve(run, solved)
    assert waiting("dayplan.improve") == []

    solve(later, solved)
    assert len(waiting("dayplan.improve")) == 1


def test_what_is_told_meanwhile_does_not_shorten_a_search_asked_for(morning: Morning) -> None:
    order = morning.order("one")
    Place.objects.filter(pk=order.place_id).update(x_m=800)
    assert perform(make_run(morning, seconds=200).pk)
    (asked,) = waiting("dayplan.improve")
    TaskRun.objects.filter(pk=asked.pk).update(state=RunState.RUNNING)
    assert take_search(asked, left_s=200) == 200
    later = make_run(morning)  # of its own it would take some seconds

    assert not end_search(asked, is_over=False)
    assert perform(later.pk)

    (goes_on,) = waiting("dayplan.improve")
    assert 190 < goes_on.args["seconds"] <= 200


def test_a_run_that_comes_back_leaves_the_search_to_a_later_one(morning: Morning) -> None:
    morning.order("one")
    dead, later = make_run(morning, "dayplan.improve"), make_run(morning)
    TaskRun.objects.filter(pk=later.pk).update(state=RunState.RUNNING)
    assert take_search(later, left_s=40)

    assert not take_search(dead, left_s=40)
    assert perform(dead.pk)

    assert search_of(morning.site.pk).holder == later.pk
    assert not PlanRun.objects.exists()
    assert take_search(later, left_s=40)  # its own next attempt


def test_a_search_says_how_far_it_is_and_goes_on(morning: Morning) -> None:
    run = make_run(morning)
    take_search(run, left_s=6)
    TaskRun.objects.filter(pk=run.pk).update(state=RunState.RUNNING)

    assert watch(run)(HERE) is False

    search = search_of(morning.site.pk)
    assert (search.cost, search.bound_cost, search.n_left_out) == (90, 60, 1)
    assert (search.is_running, search.left_s, search.elapsed_s) == (True, 6, 2)


def test_a_search_stops_when_told_to_or_when_a_later_one_waits(morning: Morning) -> None:
    run = make_run(morning)
    take_search(run, left_s=6)
    stop_search(site_id=morning.site.pk, at=NOW)
    assert watch(run)(HERE) is True

    take_search(run, left_s=6)
    assert watch(run)(HERE) is False
    make_run(morning)
    assert watch(run)(HERE) is True


def test_a_stopped_search_keeps_its_plan_and_is_not_gone_on_with(morning: Morning) -> None:
    morning.order("one")
    run = make_run(morning, seconds=40)

    def stop_it(self: Any, *_args: Any) -> None:
        DaySearch.objects.filter(holder=run.pk).update(is_to_stop=True)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("schedules.dayplan.services._write_unassigned", stop_it)
        assert perform(run.pk)

    assert Assignment.objects.count() == 1
    assert waiting("dayplan.improve") == []


def test_a_search_can_be_stopped_before_its_next_part_begins(morning: Morning) -> None:
    order = morning.order("one")
    Place.objects.filter(pk=order.place_id).update(x_m=800)
    assert perform(make_run(morning, seconds=40).pk)
    [rest] = waiting("dayplan.improve")

    stop_search(site_id=morning.site.pk, at=NOW)
    assert perform(rest.pk)

    assert waiting("dayplan.improve") == []
    assert not search_of(morning.site.pk).is_running
    assert PlanRun.objects.count() == 1


def test_there_is_nothing_to_stop_when_nothing_runs(morning: Morning) -> None:
    with pytest.raises(NoSearchError):
        stop_search(site_id=morning.site.pk, at=NOW)


def test_who_asks_for_a_search_gets_one_of_the_length_asked_for(morning: Morning) -> None:
    ask_search(site_id=morning.site.pk, at=EARLIER, seconds=90)

    [asked] = waiting("dayplan.solve")
    assert asked.args == {"seconds": 90}


def test_changes_of_plans_that_followed_each_other_are_summed() -> None:
    def given(worker: int, hour: int) -> dict[str, Any]:
        span = {"starts_at": f"2026-03-04T{hour}:00:00+00:00"}
        span["ends_at"] = f"2026-03-04T{hour}:20:00+00:00"
        return {"work_order": 1, "workers": [worker], "machine": None, **span}

    first = {"work_order": 1, "before": given(1, 12), "after": None}
    second = {"work_order": 1, "before": None, "after": given(2, 12)}
    third = {"work_order": 1, "before": given(2, 12), "after": given(1, 12)}

    assert net_changes([[first], [second], [third]]) == []
    [told] = net_changes([[first], [second]])
    assert (told["kind"], told["workers"]) == ("reassigned", [1, 2])
