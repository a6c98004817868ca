"""Roster: who works when in a week, what it leaves unmet, and what was asked for."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from crews.errors import SwapStateError
from crews.roster.build import Facts, build_week, read_facts, roster_on_record
from crews.roster.calc.check import check_week
from crews.roster.calc.problem import Demand, Problem
from crews.roster.calc.score import Roster
from crews.roster.calc.solution import Assignment, Solution, Status
from crews.roster.dates import AHEAD_MOST, today_of
from crews.roster.days import BESIDE, judge_with, swap_dates, swap_days
from crews.roster.models import Presence, RosterRun, RosterState, SwapRequest
from crews.roster.queries import open_swaps, rosters_of
from crews.roster.rosters import N_PARTS, solution_of, with_record_beside
from crews.roster.words import CAUSES, FAILED, Names, say_broken, say_why
from equipment.site.calc.local_time import resolve
from equipment.site.errors import InvalidInputError

from .base import Desk
from .roster_wishes import NO_WISH, wish_lines

WEEK = timedelta(days=7)
MOST_LINES = 12  # of what is broken or short; more are counted


@dataclass(frozen=True, slots=True)
class Cell:
    """One person's day: a letter, what it stands for, and whether the draft changes it."""

    letter: str
    words: str
    kind: str
    is_changed: bool


@dataclass(frozen=True, slots=True)
class PersonRow:
    """One person's week."""

    name: str
    is_lead: bool
    cells: list[Cell]
    hours_h: str


@dataclass(frozen=True, slots=True)
class SwapLine:
    """A swap that waits for an answer, with what it would break."""

    swap: SwapRequest
    words: str
    breaks: list[str]


def roster_context(desk: Desk) -> dict[str, Any]:
    """Put the page together: about 20 queries."""
    from_on = _asked_week(desk)
    until_on = from_on + WEEK
    facts = read_facts(desk.caller.site, from_on - BESIDE, until_on + BESIDE)
    names = Names.of(desk.site_id, facts.kinds)
    runs = rosters_of(desk.site_id, from_on, until_on)
    week = {"days": [], "from_on": from_on, "until_on": until_on, "is_empty": True}
    if facts.kinds.patterns and facts.workers:
        week |= _week(desk, facts.within(from_on, until_on), names, runs) | {"is_empty": False}
    return {
        **week,
        "week_words": _("%(first)s to %(last)s")
        % {"first": desk.day(from_on), "last": desk.day(until_on - timedelta(days=1))},
        "before": from_on - WEEK,
        "after": until_on,
        "is_coming": until_on > today_of(desk.caller.site, desk.now),
        "making": next((run for run in runs if run.state == RosterState.SOLVING), None),
        "n_parts": N_PARTS,
        "swaps": [_swap_line(desk, swap, facts, names) for swap in open_swaps(desk.site_id)],
        "workers": facts.workers,
        "no_wish": NO_WISH,
        "patterns": [row for group in facts.kinds.patterns.values() for row in group],
    }


def _asked_week(desk: Desk) -> date:
    """The week that is asked for, else the coming one; a roster's week begins on a Monday."""
    today = today_of(desk.caller.site, desk.now)
    text = desk.request.GET.get("from", "")
    try:
        on = date.fromisoformat(text) if text else today + WEEK
    except ValueError as error:
        raise InvalidInputError(_("Give the week by its first day, as in 2026-03-09.")) from error
    if abs(on - today) > AHEAD_MOST:
        raise InvalidInputError(_("A roster is shown up to 60 days from today."))
    return on - timedelta(days=on.isoweekday() - 1)


def _week(desk: Desk, facts: Facts, names: Names, runs: list[RosterRun]) -> dict[str, Any]:
    """The grid of a draft of this week or its rest, if there is one, else of what is on record."""
    mine = [r for r in runs if facts.from_on <= r.from_on and r.until_on == facts.until_on]
    newest = mine[0] if mine else None
    draft = newest if newest and newest.state == RosterState.DRAFT else None
    impossible = newest if newest and newest.state == RosterState.IMPOSSIBLE else None
    on_record = roster_on_record(facts)
    found = solution_of(draft) if draft else None
    asked = with_record_beside(facts, draft, found).assignments if draft and found else on_record
    problem = build_week(facts, at=desk.now)
    verdict = check_week(problem, Solution(Status.FEASIBLE, asked))
    shown = _still_here(facts, asked)
    short = _short(problem, shown)
    gaps = _gaps(desk, short, names)
    changes = _changes(on_record, shown)
    published = next((run for run in runs if run.state == RosterState.PUBLISHED), None)
    return {
        "days": [desk.day(on) for on in facts.days],
        "crews": _crew_rows(desk, facts, names, shown, changes),
        "heads": _heads(facts, problem, shown, names),
        "kinds": _legend(desk, facts, names),
        "finding": _finding(short, bool(found)),
        "gaps": gaps[:MOST_LINES],
        "n_more_gaps": max(0, len(gaps) - MOST_LINES),
        "broken": say_broken(verdict.broken, names)[:MOST_LINES],
        "unmet": _unmet(found.score.by_cause if found and found.score else {}),
        "draft": draft,
        "draft_words": _draft_words(desk, draft) if draft else "",
        "impossible": impossible,
        "failed": _failed_words(newest),
        "why": say_why(impossible.why if impossible else [], names),
        "published_words": _published_words(desk, facts, published) if published else "",
        "to_tell": _to_tell(facts, {person for person, _on in changes}) if found else "",
        "n_changes": len(changes),
        "wishes": wish_lines(desk, facts, names, shown),
    }


def _still_here(facts: Facts, asked: Iterable[Assignment]) -> tuple[Assignment, ...]:
    """Leave out people and shifts that are gone since a draft was made; the judge names them."""
    people = {worker.key for worker in facts.workers}
    return tuple(a for a in asked if a.person in people and a.kind in facts.kinds.patterns)


def _changes(had: Iterable[Assignment], now: Iterable[Assignment]) -> set[tuple[str, date]]:
    before = {(a.person, a.on): a.kind for a in had}
    after = {(a.person, a.on): a.kind for a in now}
    return {day for day in before.keys() | after.keys() if before.get(day) != after.get(day)}


def letters_of(kinds: Mapping[str, str]) -> dict[str, str]:
    """Short signs of kinds of shift: as many first letters of each name as tell them apart."""
    words = {kind: name.strip() or kind for kind, name in kinds.items()}
    found: dict[str, str] = {}
    for kind, name in words.items():
        others = [other.lower() for each, other in words.items() if each != kind]
        n = 1
        while n < len(name) and any(other.startswith(name[:n].lower()) for other in others):
            n += 1
        found[kind] = name[:n].capitalize()
    if len(set(found.values())) < len(found):  # the same name twice
        return {kind: f"{found[kind]}{n}" for n, kind in enumerate(found, start=1)}
    return found


def _legend(desk: Desk, facts: Facts, names: Names) -> list[tuple[str, str, str]]:
    letters = letters_of(names.kinds)
    return [
        (kind, letters[kind], f"{names.kinds[kind]}, {_hours(desk, facts, kind)}")
        for kind in facts.kinds.patterns
    ]


def _hours(desk: Desk, facts: Facts, kind: str) -> str:
    pattern = facts.kinds.patterns[kind][0]
    starts = datetime.combine(facts.from_on, pattern.starts_local)
    start = resolve(starts, desk.caller.site.zone)
    return desk.span(start, start + timedelta(minutes=pattern.duration_min))


def _crew_rows(
    desk: Desk,
    facts: Facts,
    names: Names,
    shown: Iterable[Assignment],
    changes: set[tuple[str, date]],
) -> list[tuple[str, list[PersonRow]]]:
    """People by crew, a row each."""
    letters = letters_of(names.kinds)
    kind_of = {(a.person, a.on): a.kind for a in shown}
    marks = marks_of(facts)
    crews: dict[str, list[PersonRow]] = defaultdict(list)
    for worker in facts.workers:
        cells, minutes = [], 0
        for on in facts.days:
            kind = kind_of.get((worker.key, on), "")
            minutes += facts.kinds.patterns[kind][0].duration_min if kind else 0
            words = names.kinds[kind] if kind else marks.get((worker.pk, on), "")
            sign = letters[kind] if kind else words[:1].lower()
            is_changed = (worker.key, on) in changes
            cells.append(Cell(sign, words, kind, is_changed))
        crew = worker.crew.name if worker.crew else _("No crew")
        row = PersonRow(worker.name, worker.role == "lead", cells, f"{minutes / 60:.0f}")
        crews[crew].append(row)
    return sorted(crews.items())


def marks_of(facts: Facts) -> dict[tuple[int, date], str]:
    """Why a day without a shift is none: away or called in sick."""
    found = {
        (worker_id, on): pgettext("one person", "Away")
        for worker_id, rows in facts.leave.items()
        for row in rows
        for on in facts.days
        if row.from_on <= on < row.until_on
    }
    sick = [s for s in facts.shifts if s.presence == Presence.SICK]
    return found | {(s.worker_id, s.local_date): _("Sick") for s in sick}


def _heads(
    facts: Facts, problem: Problem, shown: tuple[Assignment, ...], names: Names
) -> list[tuple[str, list[tuple[float, int, bool]]]]:
    """How many are there of how many needed, by kind of shift and day."""
    needed = {(d.on, d.kind): d.target or d.least for d in problem.demand if d.skill is None}
    there: dict[tuple[date, str], int] = defaultdict(int)
    for a in shown:
        there[a.on, a.kind] += 1
    return [
        (
            names.kinds[kind.id],
            [
                (
                    there[on, kind.id],
                    needed.get((on, kind.id), 0),
                    there[on, kind.id] < needed.get((on, kind.id), 0),
                )
                for on in facts.days
            ],
        )
        for kind in problem.kinds
    ]


def _short(problem: Problem, shown: tuple[Assignment, ...]) -> list[tuple[Demand, float]]:
    """What is not met, each with how many are there."""
    roster = Roster(problem, shown)
    there = [(demand, roster.heads_pct(demand) / 100) for demand in problem.demand]
    return [(demand, here) for demand, here in there if here < (demand.target or demand.least)]


def _gaps(desk: Desk, short: Iterable[tuple[Demand, float]], names: Names) -> list[str]:
    """Say where people are missing, by date, shift and skill."""
    found = []
    for demand, here in short:
        needed = demand.target or demand.least
        words = ngettext(
            "%(day)s, %(kind)s: %(n)d person needed for %(skill)s, %(here)g there.",
            "%(day)s, %(kind)s: %(n)d people needed for %(skill)s, %(here)g there.",
            needed,
        )
        told = {
            "day": desk.day(demand.on),
            "kind": names.kinds[demand.kind],
            "n": needed,
            "skill": names.skill(demand.skill),
            "here": here,
        }
        found.append(words % told)
    return found


def _finding(short: Iterable[tuple[Demand, float]], is_draft: bool) -> str:
    """Say on how many shifts people are missing, a shift that lacks two skills counted once."""
    n = len({(demand.on, demand.kind) for demand, _here in short})
    if not n:
        return _("Every shift has the people it needs.")
    words = ngettext("%d shift lacks people.", "%d shifts lack people.", n)
    return f"{_('Draft:')} {words % n}" if is_draft else words % n


def _unmet(by_cause: Mapping[str, float]) -> list[str]:
    """What a draft leaves unmet, in the farm's points, the heaviest first."""
    heaviest = sorted(by_cause.items(), key=lambda cause: -cause[1])
    return [
        _("%(what)s: %(points)s points")
        % {"what": CAUSES.get(cause, cause), "points": f"{points:,.4g}"}
        for cause, points in heaviest
    ]


def _draft_words(desk: Desk, draft: RosterRun) -> str:
    """Say what is known of a draft: how good it is, and how sure that is."""
    made = desk.moment(draft.finished_at or draft.made_at)
    cost, gap_frac = draft.cost or 0.0, draft.gap_frac
    if not cost:
        return _("Made %(made)s. It meets every need and every wish.") % {"made": made}
    told = {"made": made, "cost": f"{cost:,.4g}", "bound": f"{draft.bound_cost or 0:,.4g}"}
    if gap_frac is not None and gap_frac < 5e-4:
        words = _(
            "Made %(made)s. What it could not meet comes to %(cost)s points, as your farm file "
            "counts them; no other roster has fewer."
        )
    else:
        words = _(
            "Made %(made)s. What it could not meet comes to %(cost)s points, as your farm file "
            "counts them; no other roster can have fewer than %(bound)s."
        )
    return words % told


def _failed_words(newest: RosterRun | None) -> str:
    if newest is None or newest.state != RosterState.FAILED:
        return ""
    return str(FAILED[newest.why[0]["failed"]])


def _published_words(desk: Desk, facts: Facts, run: RosterRun) -> str:
    at = desk.moment(run.published_at) if run.published_at else ""
    ids = {one["worker"] for one in run.told}
    told = ", ".join(worker.name for worker in facts.workers if worker.pk in ids)
    if not told:
        return _("Published %s; nobody's days changed.") % at
    return _("Published %(at)s. To be told: %(names)s.") % {"at": at, "names": told}


def _to_tell(facts: Facts, people: set[str]) -> str:
    return ", ".join(worker.name for worker in facts.workers if worker.key in people)


def _swap_line(desk: Desk, swap: SwapRequest, facts: Facts, names: Names) -> SwapLine:
    told = {
        "giver": swap.worker.name,
        "day": desk.day(swap.local_date),
        "taker": swap.to_worker.name,
        "for": desk.day(swap.for_date) if swap.for_date else "",
    }
    words = (
        _("%(giver)s gives %(day)s to %(taker)s for %(for)s.")
        if swap.for_date
        else _("%(giver)s gives %(day)s to %(taker)s.")
    ) % told
    return SwapLine(swap, words, _breaks(desk, swap, facts, names))


def _breaks(desk: Desk, swap: SwapRequest, facts: Facts, names: Names) -> list[str]:
    """What a swap breaks; of one far from the week that is shown its approval says so."""
    dates = swap_dates(swap)
    if min(dates) < facts.from_on or max(dates) >= facts.until_on:
        return []
    try:
        return judge_with(facts, names, swap_days(swap, facts, desk.now), desk.now).broken
    except SwapStateError as error:
        return [error.detail]
