"""A phone that pulls at any moments ends with the documents of one that pulls once, whole."""

import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import transaction
from hypothesis import given, settings
from hypothesis import strategies as st

from crews.devices.auth import Phone
from crews.people.models import Crew, Worker
from equipment.flushing.models import Lock
from equipment.flushing.services import put_lock, take_off_lock
from equipment.site.models import Role, Site, SiteVersion
from equipment.site.writes import site_write
from schedules.phone import carry
from schedules.phone.models import Carried, CarriedState
from schedules.phone.pull import Cursor, pull, read_cursor, written
from schedules.work.decisions import answer_problem
from schedules.work.models import Problem
from schedules.work.progress import report_problem
from tests.factories import make_alley, make_phone, make_site, make_worker, utc

pytestmark = pytest.mark.django_db

NOON = utc("2026-03-04 12:00")
READERS = ("worker", "lead", "mechanic", "shared")
Key = tuple[str, str, str]
Step = tuple[Callable[["World", int], None], int]


@dataclass
class World:
    """A small farm at a moment that moves on, and what each phone holds of it."""

    site: Site
    now: datetime = NOON
    cursors: dict[str, Cursor] = field(default_factory=dict)
    held: dict[str, dict[Key, Any]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.crews = [Crew.objects.create(site=self.site, key=k, name=k) for k in ("one", "two")]
        self.alleys = [make_alley(self.site, f"alley-{n}") for n in range(3)]
        self.phones = {}
        for role in (Role.WORKER, Role.LEAD, Role.MECHANIC):
            worker = make_worker(self.site, role, role=role, crew=self.crews[0])
            self.phones[str(role)] = make_phone(worker, NOON)[0]
        shared, _token = make_phone(Worker.objects.get(key="worker"), NOON)
        shared.worker, shared.crew = None, self.crews[0]
        shared.save()
        self.phones["shared"] = shared

    def who(self) -> dict[str, Any]:
        by = Worker.objects.get(key="worker").actor
        return {"site_id": self.site.pk, "by": by, "at": self.now}

    def pull(self, reader: str, known: Cursor | None) -> tuple[Cursor, dict[Key, Any], bool]:
        phone = self.phones[reader]
        phone.refresh_from_db()
        caller = Phone(phone).caller_on("ours")
        assert caller is not None
        found = pull(caller, known, self.now)
        held = {} if found.whole else dict(self.held.get(reader, {}))
        for key in [key for key in held if key[0] in found.dropped_scopes]:
            del held[key]
        for one in found.documents:
            key = (one["scope"], one["kind"], one["key"])
            held.pop(key, None)
            if one["body"] is not None:
                held[key] = one["body"]
        return found.cursor, held, found.whole


def lock(world: World, n: int) -> None:
    put_lock(place_id=world.alleys[n % 3].pk, what="", received_at=world.now, **world.who())


def unlock(world: World, n: int) -> None:
    rows = list(Lock.objects.filter(off_at=None).order_by("pk"))
    if rows:
        take_off_lock(lock_id=rows[n % len(rows)].pk, received_at=world.now, **world.who())


def report(world: World, n: int) -> None:
    report_problem(place_id=None, text=f"bent {n}", **world.who())


def answer(world: World, n: int) -> None:
    rows = list(Problem.objects.filter(answered_at=None).order_by("pk"))
    if rows:
        answer_problem(problem_id=rows[n % len(rows)].pk, answer="done", **world.who())


def change_crew(world: World, n: int) -> None:
    with site_write(world.site.pk, world.now) as write:
        Worker.objects.filter(key="worker").update(crew=[*world.crews, None][n % 3])
        write.touch()


def change_role(world: World, n: int) -> None:
    with site_write(world.site.pk, world.now) as write:
        Worker.objects.filter(key="mechanic").update(role=list(Role)[n % 4])
        write.touch()


def later(world: World, n: int) -> None:
    world.now += timedelta(minutes=2 * n)


def much_later(world: World, n: int) -> None:
    world.now += timedelta(days=31)


def restore(world: World, n: int) -> None:
    SiteVersion.objects.filter(site=world.site).update(epoch=uuid.uuid4())


def pull_one(world: World, n: int) -> None:
    reader = READERS[n % 4]
    cursor, held, _whole = world.pull(reader, world.cursors.get(reader))
    world.cursors[reader], world.held[reader] = cursor, held
    assert read_cursor(written(cursor)) == cursor


CHANGES: list[Callable[[World, int], None]] = [
    *(lock, unlock, report, answer, change_crew, change_role, later, much_later, restore),
    *(pull_one, pull_one, pull_one),
]
STEPS = st.lists(st.tuples(st.sampled_from(CHANGES), st.integers(0, 11)), max_size=14)


def play(steps: Sequence[Step]) -> list[str]:
    """Give the readers whose documents differ in the end from those of a whole pull."""
    with transaction.atomic():
        world = World(make_site("ours"))
        for change, n in steps:
            change(world, n)
        wrong = []
        for reader in READERS:
            _cursor, held, _whole = world.pull(reader, world.cursors.get(reader))
            _cursor, whole, is_whole = world.pull(reader, None)
            assert is_whole
            if held != whole:
                wrong.append(reader)
        transaction.set_rollback(True)
    return wrong


@settings(max_examples=30)
@given(steps=STEPS)
def test_whoever_pulls_at_any_moments_ends_as_whoever_pulls_once(
    steps: list[Step],
) -> None:
    assert play(steps) == []


def test_a_phone_that_was_away_too_long_would_keep_what_is_gone_without_the_whole(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What `whole_below` is for."""
    steps = [(lock, 0), (pull_one, 0), (unlock, 0), (pull_one, 1), (much_later, 0), (lock, 1)]
    assert play(steps) == []

    def forget_and_say_nothing(state: CarriedState, now: datetime) -> None:
        rows = Carried.objects.filter(site_id=state.site_id)
        rows.filter(gone_at__lt=now - carry.GONE_FOR).delete()

    monkeypatch.setattr(carry, "_forget", forget_and_say_nothing)
    assert play(steps) == ["worker"]


def test_scope_that_is_no_longer_read_would_stay_if_nobody_named_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What `dropped_scopes` is for."""
    steps = [(report, 0), (change_role, 0), (pull_one, 2), (change_role, 2)]
    assert play(steps) == []

    pulled = World.pull

    def deaf(self: World, reader: str, known: Cursor | None) -> tuple[Cursor, dict[Key, Any], bool]:
        cursor, held, whole = pulled(self, reader, known)
        return cursor, {**self.held.get(reader, {}), **held} if not whole else held, whole

    monkeypatch.setattr(World, "pull", deaf)
    assert play(steps) == ["mechanic"]
