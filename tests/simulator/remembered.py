"""What a look at the farm reads is remembered for as long as no table that it read has changed.

Histories of phones look at the farm some thousand times, and most of what they read stands as it
stood. Every statement of this process's one connection passes by here, so it is known which tables
a read saw and which tables were written since; going back to a savepoint brings back what was known
then. A test plays the same seeds with and without it and finds no difference.
"""

from __future__ import annotations

import copy
import itertools
import re
from collections.abc import Callable, Collection, Iterable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache, wraps
from importlib import import_module
from types import ModuleType
from typing import Any
from unittest.mock import patch

from django.db import connection
from django.db.models import QuerySet
from django.utils.translation import get_language

from equipment.site.callers import Caller
from equipment.site.models import Site
from equipment.site.rows import PREPARED
from schedules.phone import carry
from schedules.phone.documents import Look
from schedules.work.models import WorkOrder

MOST_KEPT = 30  # states of its tables in which one read is remembered
Rooms = tuple[tuple[str, tuple[str, ...]], ...]  # modules, and which of their functions
OF_LOOKS = (  # take a look as their first argument
    ("schedules.phone.documents", ("_pins", "_places", "_locks", "_visits")),
    ("schedules.phone.documents_work", ("_jobs", "_locked_for", "_problems", "_looks")),
    ("schedules.phone.carry", ("machine_documents", "more_documents")),
)
OF_SINGLE = (  # take numbers
    ("schedules.phone.documents_work", ("waiting_reasons",)),
    ("schedules.work.queries", ("_held_ids", "_pens_of")),
    ("schedules.phone.carry", ("standing_of",)),
    ("schedules.phone.pull", ("standing_of", "_changed")),
    ("schedules.phone.api", ("standing_of",)),
)
OF_CALLERS = (("schedules.phone.pull", ("_taken_seq",)),)  # take who asks, and a version
OF_PHONES = (  # take a phone's token and the time, or its number
    ("crews.devices.auth", ("device_of",)),
    ("schedules.phone.scopes", ("_phone",)),
)
READ = re.compile(r'(?:FROM|JOIN)\s+"?(\w+)"?')
WRITTEN = re.compile(r'(?:INSERT INTO|UPDATE|DELETE FROM)\s+"?(\w+)"?')
SAVEPOINT = re.compile(r'(SAVEPOINT|ROLLBACK TO SAVEPOINT)\s+"?(\w+)"?')


@dataclass(frozen=True, slots=True)
class Statement:
    """What a statement reads and writes, or which savepoint it makes or goes back to."""

    reads: frozenset[str]
    writes: frozenset[str]
    makes: str = ""
    goes_back_to: str = ""


@cache
def statement_of(sql: str) -> Statement:
    """Tell what a statement does from its text; parameters are not in it."""
    sql = PREPARED.get(sql.partition(" (")[0], sql)
    if (found := SAVEPOINT.match(sql)) is not None:
        verb, name = found.groups()
        nothing: frozenset[str] = frozenset()
        return Statement(nothing, nothing, **{_SAVEPOINTS[verb]: name})
    written = frozenset(WRITTEN.findall(re.sub(r"FOR (NO KEY )?UPDATE", "", sql)))
    return Statement(frozenset(READ.findall(sql)), written)


_SAVEPOINTS = {"SAVEPOINT": "makes", "ROLLBACK TO SAVEPOINT": "goes_back_to"}
States = dict[str, int]  # of each table, a number that no other state of it has


@dataclass
class Tables:
    """The state of every table, as this process's statements made it."""

    states: States = field(default_factory=dict)
    saved: dict[str, States] = field(default_factory=dict)
    watching: list[set[str]] = field(default_factory=list)
    numbers: Iterator[int] = field(default_factory=lambda: itertools.count(1))
    n_written: int = 0
    before: int = 0  # the state of a table of which nothing is known

    def __call__(self, execute: Callable[..., Any], sql: str, *given: Any) -> Any:
        """Let a statement through and note what it does."""
        told = statement_of(sql)
        if told.makes:
            self.saved[told.makes] = dict(self.states)
        elif told.goes_back_to:
            self._go_back(told.goes_back_to)
        for table in told.writes:
            self.states[table] = next(self.numbers)
            self.n_written += 1
        self.see(told.reads)
        return execute(sql, *given)

    def _go_back(self, savepoint: str) -> None:
        """Take up the states of a savepoint; of one made before this began nothing is known."""
        if savepoint not in self.saved:
            self.before = next(self.numbers)
        self.states = dict(self.saved.get(savepoint, {}))

    def see(self, tables: frozenset[str]) -> None:
        """Note tables as read by all that is being watched."""
        for seen in self.watching:
            seen.update(tables)

    def remembering(
        self, does: Callable[..., Any], about: Callable[..., object]
    ) -> Callable[..., Any]:
        """Wrap a read: what it gave for the same question and the same state of its tables."""
        kept: dict[object, list[tuple[frozenset[str], States, Any]]] = {}

        @wraps(does)
        def remembered(*given: Any) -> Any:
            question = (get_language(), about(*given))
            known = kept.setdefault(question, [])
            for place, (tables, states, value) in enumerate(known):
                if all(
                    self.states.get(table, self.before) == state for table, state in states.items()
                ):
                    known.insert(0, known.pop(place))
                    self.see(tables)
                    return value
            seen: set[str] = set()
            self.watching.append(seen)
            n_before = self.n_written
            try:
                value = does(*given)
                value = list(value) if isinstance(value, QuerySet | Iterator) else value
            finally:
                self.watching.pop()
            if self.n_written == n_before:
                states = {table: self.states.get(table, self.before) for table in seen}
                known.insert(0, (frozenset(seen), states, value))
                del known[MOST_KEPT:]
            return value

        return remembered


class NumberedLook(Look):
    """A look that tells itself apart from those that saw something else."""

    def __init__(self, site: Site, now: datetime, number: int) -> None:
        super().__init__(site, now)
        self.number = number


@contextmanager
def reads_remembered() -> Iterator[None]:
    """Remember what looks read, within a transaction of this process's one connection."""
    tables = Tables()
    first_look = tables.remembering(
        lambda site, now: NumberedLook(site, now, next(tables.numbers)), lambda site, _now: site.pk
    )

    def look(site: Site, now: datetime) -> Look:
        again: Look = copy.copy(first_look(site, now))
        again.site, again.now = site, now
        return again

    with ExitStack() as stack:
        stack.enter_context(connection.execute_wrapper(tables))
        stack.enter_context(patch.object(carry, "Look", look))
        for holder, name, about in _all_read():
            does = tables.remembering(getattr(holder, name), about)
            stack.enter_context(patch.object(holder, name, does))
        yield


def _all_read() -> list[tuple[ModuleType, str, Callable[..., object]]]:
    """All modules, before any is changed: one that is read later would keep what is remembered."""
    return [
        (import_module(module), name, about)
        for rooms, about in ABOUT
        for module, names in rooms
        for name in names
    ]


def _of_look(look: NumberedLook, orders: Iterable[WorkOrder] = ()) -> object:
    """Tell apart by what the look saw, and by what counts of the work orders given with it."""
    rules = ((o.place_id, o.standing_order and o.standing_order.needs_lock) for o in orders)
    return look.number, tuple(rules)


def _of_single(*given: object) -> object:
    return tuple(
        tuple(g) if isinstance(g, Collection) and not isinstance(g, str) else g for g in given
    )


def _of_phone(of: object, at: datetime | None = None) -> object:
    """Tell apart by the minute too: a renewed token ends some day, and who asks is heard."""
    at = at or datetime.now(UTC)
    return of, at.replace(second=0, microsecond=0)


def _of_caller(caller: Caller, version: int) -> object:
    return caller.site.pk, caller.device_id, version


ABOUT: tuple[tuple[Rooms, Callable[..., object]], ...] = (
    (OF_LOOKS, _of_look),
    (OF_SINGLE, _of_single),
    (OF_PHONES, _of_phone),
    (OF_CALLERS, _of_caller),
)
