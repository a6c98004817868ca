"""Verbs that change who works on a date: by hand, by a swap, all that a roster has."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.utils.translation import gettext as _

from crews.errors import NoShiftError, RosterBreaksError, SwapStateError
from crews.people.models import Worker
from crews.people.services import find_worker
from equipment.site.errors import FieldFault, NotFoundError
from equipment.site.models import Actor, Site
from equipment.site.writes import SiteWrite, site_write

from .build import Facts, build_week, is_away, read_facts, roster_on_record
from .calc.change import SwapVerdict, check_swap
from .calc.problem import Given
from .calc.solution import Solution, Status
from .dates import hours_on, refuse_date
from .locks import lock_roster
from .models import (
    WORKING,
    DayByHand,
    Presence,
    Shift,
    ShiftPattern,
    SwapRequest,
    SwapState,
)
from .words import Names, say_broken, say_day

BESIDE = timedelta(days=7)  # rules look so far to both sides of a day that is changed

Days = Mapping[tuple[int, date], str | None]


@dataclass(frozen=True, slots=True)
class Told:
    """Whom a change of the roster concerns: the kind of shift before and after, none is off."""

    worker_id: int
    on: date
    was: str | None
    now: str | None

    def as_document(self) -> dict[str, object]:
        """Give it as it is stored."""
        return {
            "worker": self.worker_id,
            "on": self.on.isoformat(),
            "was": self.was,
            "now": self.now,
        }


def put_days(
    facts: Facts,
    wanted: Days,
    *,
    at: datetime,
    write: SiteWrite,
    patterns: Mapping[tuple[int, date], ShiftPattern] | None = None,
) -> list[Told]:
    """Make the shifts of some workers' dates so; what has begun or is marked stays as it is.

    Whoever is not as before must be told, and upper rooms are.
    """
    kind_of, told = facts.kinds.of_pattern, []
    on_record = _locked(facts.site.pk, wanted)
    gone: list[int] = []
    made: list[Shift] = []
    for (worker_id, on), kind in sorted(wanted.items()):
        had = on_record.get((worker_id, on), [])
        if any(_is_settled(shift, at) for shift in had):
            continue
        was = next((kind_of.get(s.pattern_id) for s in had if s.presence in WORKING), None)
        named = (patterns or {}).get((worker_id, on))
        if was == kind and (named is None or any(s.pattern_id == named.pk for s in had)):
            continue
        new = _shift(facts, worker_id, on, kind, named) if kind is not None else None
        if new is not None and new.starts_at <= at:
            continue
        gone += [s.pk for s in had if s.presence in WORKING or new is not None]
        made += [new] if new is not None else []
        told.append(Told(worker_id, on, was, kind))
    Shift.objects.filter(pk__in=gone).delete()
    _refuse_overlaps(facts, made)
    Shift.objects.bulk_create(made)
    for worker_id in sorted({one.worker_id for one in told}):
        write.change("roster.changed", worker_id)
    return told


def _refuse_overlaps(facts: Facts, made: list[Shift]) -> None:
    """Refuse, whoever decides, that somebody is on two shifts at once: 1 query."""
    beside = Shift.objects.filter(
        site=facts.site,
        worker_id__in={shift.worker_id for shift in made},
        presence__in=WORKING,
        local_date__gte=min((s.local_date for s in made), default=date.max) - timedelta(days=1),
        local_date__lte=max((s.local_date for s in made), default=date.min) + timedelta(days=1),
    )
    names = {worker.pk: worker.name for worker in facts.workers}
    new: dict[int, list[Shift]] = defaultdict(list)
    for shift in made:
        new[shift.worker_id].append(shift)
    for other in beside if made else ():
        for shift in new[other.worker_id]:
            if shift.starts_at < other.ends_at and other.starts_at < shift.ends_at:
                words = _("%(name)s would be on two shifts at once on %(day)s.")
                told = {"name": names[shift.worker_id], "day": say_day(shift.local_date)}
                raise RosterBreaksError(words % told)


def _is_settled(shift: Shift, at: datetime) -> bool:
    return shift.starts_at <= at or shift.presence in (Presence.HERE, Presence.SICK)


def _locked(site_id: int, wanted: Days) -> dict[tuple[int, date], list[Shift]]:
    """Shifts on record of the dates meant, locked in order: 1 query."""
    dates = {on for _worker, on in wanted}
    rows = Shift.objects.select_for_update(no_key=True).filter(
        site_id=site_id, local_date__in=dates, worker_id__in={pk for pk, _on in wanted}
    )
    found: dict[tuple[int, date], list[Shift]] = {}
    for shift in rows.order_by("pk"):
        found.setdefault((shift.worker_id, shift.local_date), []).append(shift)
    return found


def _shift(facts: Facts, worker_id: int, on: date, kind: str, named: ShiftPattern | None) -> Shift:
    pattern = named or pattern_for(facts, worker_id, kind)
    starts_at, ends_at = hours_on(facts.site, pattern, on)
    return Shift(
        site=facts.site,
        worker_id=worker_id,
        pattern=pattern,
        local_date=on,
        starts_at=starts_at,
        ends_at=ends_at,
    )


def pattern_for(facts: Facts, worker_id: int, kind: str) -> ShiftPattern:
    """Of the patterns of a kind the worker's own, else what most of the crew turns through."""
    group = {row.pk: row for row in facts.kinds.patterns[kind]}
    own = facts.rotations.get(worker_id)
    if own is not None and own.pattern_id in group:
        return group[own.pattern_id]
    crew_of = {worker.pk: worker.crew_id for worker in facts.workers}
    usual = Counter(
        row.pattern_id
        for pk, row in facts.rotations.items()
        if row.pattern_id in group and crew_of.get(pk) == crew_of.get(worker_id)
    )
    if usual:
        return group[min(usual, key=lambda pk: (-usual[pk], group[pk].key))]
    return next(iter(group.values()))


def _keep_by_hand(facts: Facts, wanted: Days, at: datetime) -> None:
    """Keep that these days were decided, so that no rotation undoes them: 2 queries."""
    workers = {worker.pk: worker for worker in facts.workers}
    on_record = Shift.objects.filter(
        site=facts.site,
        worker_id__in={pk for pk, _on in wanted},
        local_date__in={on for _pk, on in wanted},
        presence__in=WORKING,
    )
    pattern_of = {(s.worker_id, s.local_date): s.pattern_id for s in on_record}
    rows = [
        DayByHand(
            site=facts.site,
            worker_id=pk,
            local_date=on,
            pattern_id=pattern_of.get((pk, on)),
            is_despite_leave=kind is not None and is_away(facts, workers[pk], on),
            decided_at=at,
        )
        for (pk, on), kind in sorted(wanted.items())
    ]
    DayByHand.objects.bulk_create(
        rows,
        update_conflicts=True,
        unique_fields=["worker", "local_date"],
        update_fields=["pattern", "is_despite_leave", "decided_at"],
    )


# What a change would break ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Judged:
    """What a change breaks, in words, and what the roster would cost more."""

    broken: list[str]
    cost_change: float


def facts_beside(site: Site, dates: Iterable[date]) -> Facts:
    """Read what dates are judged by, a week to both sides: 10 queries."""
    days = list(dates)
    return read_facts(site, min(days) - BESIDE, max(days) + BESIDE + timedelta(days=1))


def judge_with(facts: Facts, names: Names, wanted: Days, at: datetime) -> Judged:
    """Hold a change against facts already read: 1 query, more where somebody is new."""
    keys = {worker.pk: worker.key for worker in facts.workers}
    changes = [Given(keys[pk], on, kind) for (pk, on), kind in wanted.items()]
    problem = build_week(facts, at=at)
    on_record = Solution(Status.FEASIBLE, roster_on_record(facts))
    verdict: SwapVerdict = check_swap(problem, on_record, changes)
    return Judged(say_broken(verdict.broken, names), verdict.cost_change)


def _refuse_broken(judged: Judged, words: str) -> None:
    if judged.broken:
        faults = [FieldFault("", "breaks", text) for text in judged.broken]
        raise RosterBreaksError(" ".join([words, *judged.broken]), faults)


def put_shift(
    *,
    site_id: int,
    worker_id: int,
    on: date,
    pattern_id: int | None,
    at: datetime,
    is_anyway: bool = False,
) -> Judged:
    """Put a worker on a shift of a date, or (no pattern) take theirs away.

    What that breaks refuses it, unless the one who decides does it anyway, knowing.
    """
    site = Site.objects.get(pk=site_id)
    with site_write(site_id, at) as write:
        lock_roster(site_id)
        worker = find_worker(site_id, worker_id)
        refuse_date(site, on, at)
        pattern = _find_pattern(site_id, pattern_id)
        facts = facts_beside(site, [on])
        kind = facts.kinds.of_pattern[pattern.pk] if pattern else None
        wanted = {(worker.pk, on): kind}
        judged = judge_with(facts, Names.of(site_id, facts.kinds), wanted, at)
        if not is_anyway:
            _refuse_broken(judged, _("That breaks rules of the roster."))
        named = {(worker.pk, on): pattern} if pattern else None
        told = put_days(facts, wanted, at=at, write=write, patterns=named)
        if not told:
            raise NoShiftError(
                _("Nothing to change: %(name)s, %(day)s is so already, has begun, or is marked.")
                % {"name": worker.name, "day": on.isoformat()}
            )
        _keep_by_hand(facts, wanted, at)
    return judged


def _find_pattern(site_id: int, pattern_id: int | None) -> ShiftPattern | None:
    if pattern_id is None:
        return None
    rows = ShiftPattern.objects.filter(site_id=site_id, pk=pattern_id, retired_at=None)
    if (found := rows.first()) is None:
        raise NotFoundError(_("There is no such shift here."))
    return found


# Swaps --------------------------------------------------------------------------------------------


def ask_swap(
    *,
    site_id: int,
    worker_id: int,
    local_date: date,
    to_worker_id: int,
    for_date: date | None,
    by: Actor,
    at: datetime,
) -> SwapRequest:
    """Ask that another takes a shift, and maybe gives one for it; asked again it is this one."""
    site = Site.objects.get(pk=site_id)
    if worker_id == to_worker_id:
        raise SwapStateError(_("A swap needs two people."))
    with site_write(site_id, at) as write:
        for pk in sorted((worker_id, to_worker_id)):
            find_worker(site_id, pk)
        for on in (local_date, *([for_date] if for_date else [])):
            refuse_date(site, on, at)
        swap, _made = SwapRequest.objects.update_or_create(
            site_id=site_id,
            worker_id=worker_id,
            local_date=local_date,
            state=SwapState.ASKED,
            defaults={
                "to_worker_id": to_worker_id,
                "for_date": for_date,
                "asked_at": at,
                "by": by,
            },
        )
        swap_days(swap, facts_beside(site, swap_dates(swap)), at)  # refuses what cannot be
        write.touch()
    return swap


def swap_days(swap: SwapRequest, facts: Facts, at: datetime) -> dict[tuple[int, date], str | None]:
    """Give the days as the swap would have them, from facts of its dates.

    Raises
    ------
    SwapStateError
        When a shift is not there, has begun, or the other has one that day already.
    """
    kind_of, here = facts.kinds.of_pattern, {worker.pk for worker in facts.workers}
    shifts = {
        (s.worker_id, s.local_date): s
        for s in facts.shifts
        if s.presence in WORKING and s.pattern_id in kind_of and s.worker_id in here
    }
    legs = [(swap.worker_id, swap.to_worker_id, swap.local_date)]
    legs += [(swap.to_worker_id, swap.worker_id, swap.for_date)] if swap.for_date else []
    wanted: dict[tuple[int, date], str | None] = {}
    for giver, taker, on in legs:
        shift = shifts.get((giver, on))
        if shift is None or _is_settled(shift, at) or taker not in here:
            raise SwapStateError(_("A shift to be swapped is not there any more, or has begun."))
        wanted[giver, on] = None
    for giver, taker, on in legs:
        if (taker, on) in shifts and (taker, on) not in wanted:
            raise SwapStateError(_("Whoever takes the shift has one that day already."))
        wanted[taker, on] = kind_of[shifts[giver, on].pattern_id]
    return wanted


def swap_dates(swap: SwapRequest) -> list[date]:
    """The dates that a swap concerns."""
    return [on for on in (swap.local_date, swap.for_date) if on]


def judge_swap(swap: SwapRequest, at: datetime) -> Judged:
    """What a swap would break, in words."""
    facts = facts_beside(swap.site, swap_dates(swap))
    names = Names.of(swap.site_id, facts.kinds)
    return judge_with(facts, names, swap_days(swap, facts, at), at)


def breaks_of(swap: SwapRequest, at: datetime) -> list[str]:
    """What a swap would break now, in words; of an answered one nothing."""
    if swap.state != SwapState.ASKED:
        return []
    try:
        return judge_swap(swap, at).broken
    except SwapStateError as error:
        return [error.detail]


def settle_swap(
    *,
    site_id: int,
    swap_id: int,
    asked_at: datetime,
    is_approved: bool,
    by: Actor,
    at: datetime,
) -> SwapRequest:
    """Approve a swap that breaks no rule, or refuse it; an answered one keeps its answer.

    `asked_at` is when it was asked for as it was read: one asked otherwise since is not answered.
    """
    with site_write(site_id, at) as write:
        lock_roster(site_id)
        rows = SwapRequest.objects.select_for_update(of=("self",), no_key=True)
        swap = rows.select_related("site").filter(site_id=site_id, pk=swap_id).first()
        if swap is None:
            raise NotFoundError(_("There is no such swap here."))
        if swap.state != SwapState.ASKED:
            raise SwapStateError(_("This swap was answered already."))
        if swap.asked_at != asked_at:
            raise SwapStateError(_("This swap was asked for anew in the meantime; look again."))
        if is_approved:
            facts = facts_beside(swap.site, swap_dates(swap))
            wanted = swap_days(swap, facts, at)
            judged = judge_with(facts, Names.of(site_id, facts.kinds), wanted, at)
            _refuse_broken(judged, _("The swap breaks rules of the roster."))
            put_days(facts, wanted, at=at, write=write)
            _keep_by_hand(facts, wanted, at)
        swap.state = SwapState.APPROVED if is_approved else SwapState.REFUSED
        swap.decided_at, swap.decided_by = at, by
        swap.save(update_fields=["state", "decided_at", "decided_by"])
        write.touch()
    return swap


def may_ask(worker: Worker | None, actor: Actor, is_lead: bool) -> bool:
    """Whether somebody may ask for a swap of a worker's shift: that worker, or a lead."""
    return is_lead or (worker is not None and worker.actor_id == actor.pk)
