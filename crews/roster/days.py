"""Verbs that change who works on a date: by hand, by a swap, all that a roster has."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.utils.translation import gettext as _

from crews.errors import NoShiftError, RosterBreaksError, RosterSpanError, SwapStateError
from crews.people.models import Worker
from crews.people.services import find_worker
from equipment.site.calc.local_time import wall_span
from equipment.site.errors import FieldFault, NotFoundError
from equipment.site.models import Actor, Site
from equipment.site.writes import SiteWrite, site_write

from .build import Facts, build_week, read_facts, roster_on_record, today_of
from .calc.change import SwapVerdict, check_swap
from .calc.problem import Given
from .calc.solution import Solution, Status
from .models import Presence, Shift, ShiftPattern, SwapRequest, SwapState
from .words import Names, say_broken, say_day

BESIDE = timedelta(days=7)  # rules look so far to both sides of a day that is changed
AHEAD_MOST = timedelta(days=60)

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
        was = next((kind_of.get(s.pattern_id) for s in had if s.presence in _OPEN), None)
        named = (patterns or {}).get((worker_id, on))
        if was == kind and (named is None or any(s.pattern_id == named.pk for s in had)):
            continue
        new = _shift(facts, worker_id, on, kind, named) if kind is not None else None
        if new is not None and new.starts_at <= at:
            continue
        gone += [s.pk for s in had if s.presence in _OPEN or new is not None]
        made += [new] if new is not None else []
        told.append(Told(worker_id, on, was, kind))
    Shift.objects.filter(pk__in=gone).delete()
    _refuse_overlaps(facts, made)
    Shift.objects.bulk_create(made)
    for worker_id in sorted({one.worker_id for one in told}):
        write.change("roster.changed", worker_id)
    return told


_OPEN = (Presence.EXPECTED, Presence.HERE)


def _refuse_overlaps(facts: Facts, made: list[Shift]) -> None:
    """Refuse, whoever decides, that somebody is on two shifts at once: 1 query."""
    beside = Shift.objects.filter(
        site=facts.site,
        worker_id__in={shift.worker_id for shift in made},
        presence__in=_OPEN,
        local_date__gte=min((s.local_date for s in made), default=date.max) - timedelta(days=1),
        local_date__lte=max((s.local_date for s in made), default=date.min) + timedelta(days=1),
    )
    names = {worker.pk: worker.name for worker in facts.workers}
    for other in beside if made else ():
        for shift in made:
            is_same = shift.worker_id == other.worker_id
            if is_same and shift.starts_at < other.ends_at and other.starts_at < shift.ends_at:
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
    starts_at, ends_at = wall_span(
        datetime.combine(on, pattern.starts_local),
        timedelta(minutes=pattern.duration_min),
        facts.site.zone,
    )
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


# What a change would break ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Judged:
    """What a change breaks, in words, and what the roster would cost more."""

    facts: Facts
    broken: list[str]
    cost_change: float


def judge_days(site: Site, wanted: Days, at: datetime) -> Judged:
    """Hold a change against the rules that a roster keeps to: about 12 queries."""
    facts = facts_beside(site, [on for _worker, on in wanted])
    return judge_with(facts, Names.of(site.pk, facts.kinds), wanted, at)


def facts_beside(site: Site, dates: Iterable[date]) -> Facts:
    """Read what dates are judged by, a week to both sides: 9 queries."""
    days = list(dates)
    return read_facts(site, min(days) - BESIDE, max(days) + BESIDE + timedelta(days=1))


def judge_with(facts: Facts, names: Names, wanted: Days, at: datetime) -> Judged:
    """Hold a change against facts already read: 1 query, more where somebody is new."""
    keys = {worker.pk: worker.key for worker in facts.workers}
    changes = [Given(keys[pk], on, kind) for (pk, on), kind in wanted.items()]
    problem = build_week(facts, at=at)
    on_record = Solution(Status.FEASIBLE, roster_on_record(facts))
    verdict: SwapVerdict = check_swap(problem, on_record, changes)
    return Judged(facts, say_broken(verdict.broken, names), verdict.cost_change)


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
        worker = find_worker(site_id, worker_id)
        _refuse_date(site, on, at)
        pattern = _find_pattern(site_id, pattern_id)
        judged = judge_days(site, {(worker.pk, on): _kind_of(site_id, pattern)}, at)
        if not is_anyway:
            _refuse_broken(judged, _("That breaks rules of the roster."))
        kind = judged.facts.kinds.of_pattern[pattern.pk] if pattern else None
        named = {(worker.pk, on): pattern} if pattern else None
        wanted = {(worker.pk, on): kind}
        told = put_days(judged.facts, wanted, at=at, write=write, patterns=named)
        if not told:
            raise NoShiftError(
                _("Nothing to change: %(name)s, %(day)s is so already, has begun, or is marked.")
                % {"name": worker.name, "day": on.isoformat()}
            )
    return judged


def _kind_of(site_id: int, pattern: ShiftPattern | None) -> str | None:
    if pattern is None:
        return None
    same = ShiftPattern.objects.filter(
        site_id=site_id,
        retired_at=None,
        starts_local=pattern.starts_local,
        duration_min=pattern.duration_min,
    )
    return same.order_by("key").values_list("key", flat=True)[0]


def _find_pattern(site_id: int, pattern_id: int | None) -> ShiftPattern | None:
    if pattern_id is None:
        return None
    rows = ShiftPattern.objects.filter(site_id=site_id, pk=pattern_id, retired_at=None)
    if (found := rows.first()) is None:
        raise NotFoundError(_("There is no such shift here."))
    return found


def _refuse_date(site: Site, on: date, at: datetime) -> None:
    today = today_of(site, at)
    if not today <= on <= today + AHEAD_MOST:
        raise RosterSpanError(_("Give a date from today until 60 days ahead."))


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
            _refuse_date(site, on, at)
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
        if s.presence == Presence.EXPECTED and s.pattern_id in kind_of and s.worker_id in here
    }
    legs = [(swap.worker_id, swap.to_worker_id, swap.local_date)]
    legs += [(swap.to_worker_id, swap.worker_id, swap.for_date)] if swap.for_date else []
    wanted: dict[tuple[int, date], str | None] = {}
    for giver, taker, on in legs:
        shift = shifts.get((giver, on))
        if shift is None or shift.starts_at <= at or taker not in here:
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
    *, site_id: int, swap_id: int, is_approved: bool, by: Actor, at: datetime
) -> SwapRequest:
    """Approve a swap that breaks no rule, or refuse it; an answered one keeps its answer."""
    with site_write(site_id, at) as write:
        rows = SwapRequest.objects.select_for_update(of=("self",), no_key=True)
        swap = rows.select_related("site").filter(site_id=site_id, pk=swap_id).first()
        if swap is None:
            raise NotFoundError(_("There is no such swap here."))
        if swap.state != SwapState.ASKED:
            raise SwapStateError(_("This swap was answered already."))
        if is_approved:
            facts = facts_beside(swap.site, swap_dates(swap))
            wanted = swap_days(swap, facts, at)
            judged = judge_with(facts, Names.of(site_id, facts.kinds), wanted, at)
            _refuse_broken(judged, _("The swap breaks rules of the roster."))
            put_days(judged.facts, wanted, at=at, write=write)
        swap.state = SwapState.APPROVED if is_approved else SwapState.REFUSED
        swap.decided_at, swap.decided_by = at, by
        swap.save(update_fields=["state", "decided_at", "decided_by"])
        write.touch()
    return swap


def may_ask(worker: Worker | None, actor: Actor, is_lead: bool) -> bool:
    """Whether somebody may ask for a swap of a worker's shift: that worker, or a lead."""
    return is_lead or (worker is not None and worker.actor_id == actor.pk)
