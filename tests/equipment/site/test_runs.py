"""Task runs: made with their cause, done exactly once, given up in the end, never lost."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.db import transaction
from kombu.exceptions import OperationalError

from equipment.site import runs, tasks
from equipment.site.models import RunState, Site, TaskRun
from tests.factories import make_site

NOW = datetime(2026, 3, 4, 12, tzinfo=UTC)
KIND = "test.greet"

pytestmark = pytest.mark.django_db

Register = Callable[..., None]


@pytest.fixture
def register(monkeypatch: pytest.MonkeyPatch) -> Register:
    """Register a kind for one test."""

    def add(apply: runs.Apply, prepare: runs.Prepare | None = None) -> None:
        monkeypatch.setitem(runs.KINDS, KIND, runs.RunKind(KIND, "produce", 60, apply, prepare))

    return add


@pytest.fixture
def done(register: Register) -> list[int]:
    """Give the ids of the runs that a well-behaved kind has done."""
    ids: list[int] = []
    register(lambda run, _prepared: ids.append(run.pk))
    return ids


def _enqueue(key: str = "1", at: datetime = NOW, **more: Any) -> TaskRun:
    runs.enqueue(KIND, key=key, at=at, **more)
    return TaskRun.objects.get(kind=KIND, dedupe_key=key)


def test_a_run_is_done_once_however_often_it_is_rung_for(done: list[int]) -> None:
    run = _enqueue()
    assert runs.perform(run.pk, now=NOW)
    assert not runs.perform(run.pk, now=NOW)
    assert done == [run.pk]


def test_the_same_key_makes_one_run(done: list[int]) -> None:
    first, second = _enqueue(), _enqueue()
    assert first.pk == second.pk
    assert TaskRun.objects.count() == 1


def test_a_rolled_back_cause_leaves_no_run(done: list[int]) -> None:
    with transaction.atomic():
        _enqueue()
        transaction.set_rollback(True)
    assert not TaskRun.objects.exists()


def test_a_run_that_is_not_due_waits(done: list[int]) -> None:
    run = _enqueue(due_at=NOW + timedelta(minutes=1))
    assert not runs.perform(run.pk, now=NOW)
    assert runs.perform(run.pk, now=NOW + timedelta(minutes=1))


def test_a_claimed_run_is_nobody_elses_until_its_lease_ends(done: list[int]) -> None:
    run = _enqueue()
    assert runs.claim(run.pk, NOW) is not None
    assert runs.claim(run.pk, NOW + timedelta(seconds=59)) is None
    again = runs.claim(run.pk, NOW + timedelta(seconds=60))
    assert again is not None
    assert again.attempts == 2


def test_of_two_that_read_the_same_free_run_one_gets_it(
    done: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    run = _enqueue()
    real, asked = runs.claimable, []

    def claimable(now: datetime) -> Any:
        asked.append(now)
        if len(asked) == 2:  # the first has read the row and is about to take it
            assert runs.claim(run.pk, now) is not None
        return real(now)

    monkeypatch.setattr(runs, "claimable", claimable)
    assert runs.claim(run.pk, NOW) is None
    run.refresh_from_db()
    assert run.attempts == 1


def test_the_late_commit_of_a_run_that_was_taken_over_is_refused(register: Register) -> None:
    applied: list[int] = []

    def freeze(run: TaskRun) -> None:
        """Outlast the lease once: another worker finishes the run meanwhile."""
        if run.attempts == 1:
            assert runs.perform(run.pk, now=run.lease_until)

    def apply(run: TaskRun, _prepared: Any) -> None:
        applied.append(run.attempts)
        make_site(f"made-by-attempt-{run.attempts}")

    register(apply, freeze)
    run = _enqueue()
    assert not runs.perform(run.pk, now=NOW)
    assert applied == [2, 1]  # the first did its work too, in vain
    assert [s.slug for s in Site.objects.all()] == ["made-by-attempt-2"]
    run.refresh_from_db()
    assert (run.state, run.attempts) == (RunState.DONE, 2)


def test_a_failed_run_leaves_no_effect_backs_off_and_is_given_up(register: Register) -> None:
    def fail(_run: TaskRun, _prepared: Any) -> None:
        make_site()
        raise ValueError("poison")

    register(fail)
    run = _enqueue()
    for attempt in range(1, runs.MAX_ATTEMPTS + 1):
        with time_machine.travel(run.due_at, tick=False):
            assert not runs.perform(run.pk)
            run.refresh_from_db()
            assert run.attempts == attempt
            assert run.due_at > datetime.now(UTC)
            assert (run.finished_at is not None) == (attempt == runs.MAX_ATTEMPTS)
    assert run.state == RunState.DEAD
    assert run.error == "ValueError: poison"
    assert not Site.objects.exists()
    assert not runs.perform(run.pk, now=run.due_at + timedelta(days=1))


def test_a_run_that_kills_its_worker_each_time_is_given_up(done: list[int]) -> None:
    run, now = _enqueue(), NOW
    for attempt in range(1, runs.MAX_ATTEMPTS + 1):  # claimed, and never heard of again
        claimed = runs.claim(run.pk, now)
        assert claimed is not None
        assert claimed.attempts == attempt
        now += timedelta(seconds=60)
    assert runs.poll(now=now) == 0
    run.refresh_from_db()
    assert (run.state, run.attempts, run.lease_until) == (RunState.DEAD, runs.MAX_ATTEMPTS, None)
    assert run.finished_at is not None
    assert run.error == "given up: attempt 5 ended without a word, its worker lost or too slow"
    assert not runs.claimable(now + timedelta(days=1)).exists()
    assert done == []


def test_the_poller_does_due_runs_with_the_broker_dead(
    done: list[int],
    monkeypatch: pytest.MonkeyPatch,
    django_capture_on_commit_callbacks: Any,
) -> None:
    rings: list[tuple[Any, ...]] = []

    def dead_broker(args: tuple[Any, ...], **_options: Any) -> None:
        rings.append(args)
        raise OperationalError("nobody there")

    monkeypatch.setattr(tasks.run, "apply_async", dead_broker)
    monkeypatch.setattr(runs, "_bell_rests_until", 0.0)
    with django_capture_on_commit_callbacks(execute=True):
        _enqueue("1")
        _enqueue("2")
    assert rings == [(KIND, "1")]  # after the first silence the bell rests: requests stay fast
    assert runs.poll(now=NOW) == 2
    assert runs.poll(now=NOW) == 0
    assert len(done) == 2


def test_the_bell_names_the_run_and_its_queue(
    done: list[int],
    monkeypatch: pytest.MonkeyPatch,
    django_capture_on_commit_callbacks: Any,
) -> None:
    rings: list[Any] = []
    monkeypatch.setattr(tasks.run, "apply_async", lambda args, **how: rings.append((args, how)))
    monkeypatch.setattr(runs, "_bell_rests_until", 0.0)
    with django_capture_on_commit_callbacks(execute=True):
        _enqueue("7")
    assert rings == [((KIND, "7"), {"queue": "produce", "retry": False})]


def test_the_poller_does_the_oldest_first_and_no_more_than_asked(register: Register) -> None:
    order: list[str] = []
    register(lambda run, _prepared: order.append(run.dedupe_key))
    for minutes in (3, 1, 2):
        _enqueue(str(minutes), at=NOW + timedelta(minutes=minutes))
    assert runs.poll(now=NOW + timedelta(hours=1), limit=2) == 2
    assert order == ["1", "2"]


def test_what_takes_long_is_done_one_at_a_time_and_never_before_what_is_quick(
    register: Register,
) -> None:
    """A search of a minute must not stand before a change's news."""
    order: list[str] = []
    register(lambda run, _prepared: order.append(run.dedupe_key))
    for key in ("1", "2", "3"):
        _enqueue(key)
    TaskRun.objects.exclude(dedupe_key="3").update(queue=runs.SLOW_QUEUES[0])
    assert runs.poll(now=NOW) == 1
    assert order == ["3"]
    assert runs.poll_slow(now=NOW, waited_s=1) == 0
    assert runs.poll_slow(now=NOW + timedelta(seconds=1), waited_s=1) == 1
    assert order == ["3", "1"]
    tasks.slow_tick()
    assert order == ["3", "1", "2"]


def test_periodic_runs_are_planned_once_per_site_and_slot_whoever_ticks(
    done: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(runs, "PERIODIC", {KIND: timedelta(minutes=10)})
    first, second = make_site("a"), make_site("b")
    for seconds in (0, 1, 599, 600):  # 12:00:00 opens a slot of ten minutes
        runs.plan_periodic(now=NOW + timedelta(seconds=seconds))
    planned = TaskRun.objects.filter(kind=KIND).values_list("site_id", flat=True)
    assert sorted(planned) == [first.pk, first.pk, second.pk, second.pk]
