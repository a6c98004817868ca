"""Two changes of a site's roster at one moment: the second knows what the first has done."""

import json
from collections.abc import Callable
from datetime import timedelta
from functools import partial
from threading import Event
from typing import Any

import pytest

from crews.errors import RosterBreaksError
from crews.people.models import Worker
from crews.roster import days, rosters, services
from crews.roster.calc.json_io import solution_to_json
from crews.roster.calc.solution import Assignment, Score, Solution, Status
from crews.roster.models import RosterRun, RosterState, Shift, ShiftDemand, ShiftPattern
from equipment.site.models import Site
from tests.concurrency.threads import WAIT_S, run_together, somebody_waits_for_a_lock
from tests.crews.roster.test_build import MONDAY, NEXT, NOW, make_pattern, turn
from tests.factories import make_site, make_worker

pytestmark = pytest.mark.django_db(transaction=True)

Case = Callable[[], list[Any]]


@pytest.fixture
def site() -> Site:
    return make_site()


@pytest.fixture
def day(site: Site) -> ShiftPattern:
    return make_pattern(site, "day", 6)


@pytest.fixture
def people(site: Site, day: ShiftPattern) -> list[Worker]:
    workers = [make_worker(site, key) for key in ("ana", "beto", "caro")]
    for worker in workers[:2]:
        turn(worker, day)
    plan(site)
    return workers


def plan(site: Site) -> int:
    return services.plan_shifts(site_id=site.pk, from_on=MONDAY, until_on=NEXT, at=NOW)


@pytest.fixture
def together(monkeypatch: pytest.MonkeyPatch) -> Callable[..., list[Any]]:
    def run(room: Any, name: str, first: Callable[[], Any], second: Callable[[], Any]) -> list[Any]:
        """Let the second come when the first has looked and is about to call a function.

        The first goes on when the second waits for a lock, or is through.
        """
        has_looked, is_through, real = Event(), Event(), getattr(room, name)

        def late(*args: Any, **facts: Any) -> Any:
            if not has_looked.is_set():
                has_looked.set()
                while not (is_through.wait(0.01) or somebody_waits_for_a_lock()):
                    continue
            return real(*args, **facts)

        def come_second() -> Any:
            assert has_looked.wait(WAIT_S)
            try:
                return second()
            finally:
                is_through.set()

        monkeypatch.setattr(room, name, late)
        return run_together(first, come_second)

    return run


@pytest.fixture
def unlocked(monkeypatch: pytest.MonkeyPatch) -> None:
    for room in (days, rosters, services):
        monkeypatch.setattr(room, "lock_roster", lambda _site_id: None)


def free_both(people: list[Worker], day: ShiftPattern, together: Callable[..., list[Any]]) -> int:
    """Two leads free one of the last two each; give how many were refused."""
    site = day.site
    ShiftDemand.objects.create(site=site, pattern=day, local_date=MONDAY, least=1, target=1)
    free = [
        partial(
            days.put_shift,
            site_id=site.pk,
            worker_id=worker.pk,
            on=MONDAY,
            pattern_id=None,
            at=NOW,
        )
        for worker in people[:2]
    ]
    results = together(days, "put_days", *free)
    refused = [result for result in results if isinstance(result, Exception)]
    assert all(isinstance(error, RosterBreaksError) for error in refused)
    return len(refused)


def test_two_changes_cannot_break_a_rule_together(
    people: list[Worker], day: ShiftPattern, together: Callable[..., list[Any]]
) -> None:
    assert free_both(people, day, together) == 1
    assert Shift.objects.filter(local_date=MONDAY).count() == 1


@pytest.mark.usefixtures("unlocked")
def test_without_the_lock_they_would(
    people: list[Worker], day: ShiftPattern, together: Callable[..., list[Any]]
) -> None:
    assert free_both(people, day, together) == 0
    assert not Shift.objects.filter(local_date=MONDAY).exists()


def ask_twice(site: Site, together: Callable[..., list[Any]]) -> list[str]:
    begin = [
        partial(
            rosters.begin_roster,
            site_id=site.pk,
            from_on=MONDAY,
            until_on=NEXT,
            by=None,
            at=NOW + timedelta(seconds=n),
        )
        for n in range(2)
    ]
    results = together(rosters, "_problem_now", *begin)
    return [type(result).__name__ for result in results if isinstance(result, Exception)]


def test_the_second_of_two_rosters_asked_for_is_made(
    site: Site, people: list[Worker], together: Callable[..., list[Any]]
) -> None:
    assert ask_twice(site, together) == []
    states = RosterRun.objects.order_by("pk").values_list("state", flat=True)
    assert list(states) == [RosterState.CANCELLED, RosterState.SOLVING]


@pytest.mark.usefixtures("unlocked")
def test_without_the_lock_one_would_be_an_error(
    site: Site, people: list[Worker], together: Callable[..., list[Any]]
) -> None:
    assert ask_twice(site, together) == ["IntegrityError"]


def publish_while_planning(site: Site, together: Callable[..., list[Any]]) -> list[str]:
    """Publish that Caro alone works on Monday; give who does then."""
    solution = Solution(
        Status.OPTIMAL, (Assignment("caro", MONDAY, "day"),), Score(0, {}), bound_cost=0
    )
    run = RosterRun.objects.create(
        site=site,
        from_on=MONDAY,
        until_on=NEXT,
        made_at=NOW,
        finished_at=NOW,
        state=RosterState.DRAFT,
        site_version=1,
        problem={},
        solution=json.loads(solution_to_json(solution)),
    )
    publish = partial(rosters.publish_roster, site_id=site.pk, run_id=run.pk, at=NOW)
    results = together(services, "_drop_unwanted", partial(plan, site), publish)
    assert [result for result in results if isinstance(result, Exception)] == []
    worked = Shift.objects.filter(local_date__lt=NEXT).order_by("worker__key")
    return list(worked.values_list("worker__key", flat=True))


def test_planning_does_not_overwrite_what_is_being_published(
    site: Site, people: list[Worker], together: Callable[..., list[Any]]
) -> None:
    assert publish_while_planning(site, together) == ["caro"]


@pytest.mark.usefixtures("unlocked")
def test_without_the_lock_it_would(
    site: Site, people: list[Worker], together: Callable[..., list[Any]]
) -> None:
    assert "ana" in publish_while_planning(site, together)
