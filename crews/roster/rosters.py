"""Verbs of a roster: ask for one, search on, put the result in place, publish it."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from datetime import date, datetime, timedelta
from threading import Event, Thread
from typing import Any

from django.db import connection
from django.utils.translation import gettext as _

from crews.errors import RosterBreaksError, RosterSpanError, RosterStateError
from equipment.site.errors import FieldFault, NotFoundError
from equipment.site.models import Actor, RunState, Site, TaskRun
from equipment.site.queries import site_version
from equipment.site.runs import enqueue
from equipment.site.writes import site_write

from .build import Facts, build_week, read_facts, roster_on_record
from .calc.check import check_week
from .calc.explain import explain_clash
from .calc.json_io import (
    problem_from_json,
    problem_to_json,
    solution_from_json,
    solution_to_json,
)
from .calc.problem import Problem, ProblemError
from .calc.search import solve_week
from .calc.solution import Solution, Status
from .dates import AHEAD_MOST, today_of
from .days import Days, put_days
from .locks import lock_roster
from .models import DayByHand, RosterRun, RosterState
from .words import Names, say_broken, say_day

RUN_KIND = "roster.solve"
PART_S = 30.0  # a kill loses one part; the bound of a part is its own, so few are better
N_PARTS = 2
EXPLAIN_S = 20.0
MOST_DAYS = 28
WEEK = timedelta(days=7)
ASKS_EVERY_S = 0.5


def begin_roster(
    *,
    site_id: int,
    from_on: date,
    until_on: date,
    by: Actor | None,
    at: datetime,
    seed: int = 0,
    is_refill: bool = False,
) -> RosterRun:
    """Ask for a roster of [from_on, until_on); the one being made, if any, is given up for it."""
    site = Site.objects.get(pk=site_id)
    _refuse_span(site, from_on, until_on, at)
    with site_write(site_id, at) as write:
        lock_roster(site_id)
        live = RosterRun.objects.filter(site_id=site_id, state=RosterState.SOLVING)
        live.update(state=RosterState.CANCELLED, finished_at=at)
        run = RosterRun.objects.create(
            site_id=site_id,
            from_on=from_on,
            until_on=until_on,
            made_at=at,
            by=by,
            seed=seed,
            is_refill=is_refill,
            site_version=site_version(site_id),
            problem=_document(_problem_now(site, from_on, until_on, is_refill, at)),
        )
        _go_on(run, at)
        write.touch()
    return run


def _refuse_span(site: Site, from_on: date, until_on: date, at: datetime) -> None:
    today = today_of(site, at)
    if not today <= from_on < until_on <= today + AHEAD_MOST:
        raise RosterSpanError(_("Give a first day from today on, and an end up to 60 days ahead."))
    if (until_on - from_on).days > MOST_DAYS:
        raise RosterSpanError(_("A roster is made for four weeks at most."))


def _problem_now(
    site: Site, from_on: date, until_on: date, is_refill: bool, at: datetime
) -> Problem:
    facts = read_facts(site, from_on, until_on)
    if not facts.kinds.patterns or not facts.workers:
        raise RosterSpanError(_("The farm file names no shifts, or nobody who could work them."))
    try:
        return build_week(facts, at=at, is_refill=is_refill)
    except ProblemError as error:
        raise RosterSpanError(str(error)) from error


def _document(problem: Problem) -> Any:
    return json.loads(problem_to_json(problem))


def problem_of(run: RosterRun) -> Problem:
    """Give the problem that a run was made from."""
    return problem_from_json(json.dumps(run.problem))


def solution_of(run: RosterRun) -> Solution | None:
    """Give the best roster found so far."""
    return None if run.solution is None else solution_from_json(json.dumps(run.solution))


def _go_on(run: RosterRun, at: datetime) -> None:
    key = f"{run.site_id}:{run.pk}:{at.isoformat()}"
    enqueue(RUN_KIND, key=key, at=at, site_id=run.site_id, args={"roster": run.pk})


def search_on(run: RosterRun) -> Solution | None:
    """Search for the next part, from the best so far on; it ends when the run is given up.

    None when there is nothing left to search. Writes nothing: a kill loses one part.
    """
    run.refresh_from_db()
    if run.state != RosterState.SOLVING or run.n_parts_done >= N_PARTS:
        return None
    problem, so_far = problem_of(run), solution_of(run)
    start = so_far.assignments if so_far else ()
    if so_far is None and run.is_refill:
        start = _record_start(run)
    stop, ended = Event(), Event()
    watch = Thread(target=_stop_when_given_up, args=(run.pk, stop, ended))
    watch.start()
    try:
        return solve_week(
            problem, seconds=PART_S, seed=run.seed + run.n_parts_done, start=start, stop=stop
        )
    finally:
        ended.set()
        watch.join()


def _record_start(run: RosterRun) -> Any:
    site = Site.objects.get(pk=run.site_id)
    return roster_on_record(read_facts(site, run.from_on, run.until_on))


def _stop_when_given_up(run_id: int, stop: Event, ended: Event) -> None:
    """Look now and then whether a run is still wanted, on a connection of the thread's own."""
    try:
        while not ended.wait(ASKS_EVERY_S):
            if not RosterRun.objects.filter(pk=run_id, state=RosterState.SOLVING).exists():
                stop.set()
                return
    finally:
        connection.close()


def keep_part(*, run: RosterRun, found: Solution, at: datetime) -> bool:
    """Keep a part's result where it is better; say whether to search on."""
    with site_write(run.site_id, at) as write:
        rows = RosterRun.objects.select_for_update(no_key=True)
        run = rows.get(pk=run.pk)
        if run.state != RosterState.SOLVING:
            return False
        if found.score is not None:
            _keep_best(run, found)
        is_settled = found.status in (Status.OPTIMAL, Status.INFEASIBLE)
        run.n_parts_done = N_PARTS if is_settled else run.n_parts_done + 1
        run.save()
        write.touch()
    return run.n_parts_done < N_PARTS


def _keep_best(run: RosterRun, found: Solution) -> None:
    assert found.score is not None
    if run.cost is None or found.score.total_cost <= run.cost:
        run.solution = json.loads(solution_to_json(found))
        run.cost = found.score.total_cost
    if found.bound_cost is not None:
        run.bound_cost = min(run.cost, max(run.bound_cost or 0.0, found.bound_cost))
        run.gap_frac = (run.cost - run.bound_cost) / run.cost if run.cost > 0 else 0.0


def why_none(run: RosterRun) -> list[dict[str, Any]]:
    """Find what clashes and the ways out, in codes; empty where that is not known."""
    clash = explain_clash(problem_of(run), seconds=EXPLAIN_S)
    told: list[dict[str, Any]] = [{"clash": clash.limits}] if clash.limits else []
    told += [{"give_up": way.given_up, "then": way.broken} for way in clash.remedies]
    documents: list[dict[str, Any]] = json.loads(json.dumps(told, default=_plain))
    return documents


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else asdict(value)


def finish_roster(*, run: RosterRun, why: list[dict[str, Any]], at: datetime) -> RosterRun:
    """Put the result in place where the facts that it rests on have not moved, else search anew."""
    with site_write(run.site_id, at) as write:
        lock_roster(run.site_id)
        rows = RosterRun.objects.select_for_update(of=("self",), no_key=True)
        run = rows.select_related("site").get(pk=run.pk)
        if run.state != RosterState.SOLVING:
            return run
        try:
            problem = _problem_now(run.site, run.from_on, run.until_on, run.is_refill, at)
        except RosterSpanError:
            write.touch()
            return _fail(run, "facts", at)
        document = _document(problem)
        if document != run.problem:
            run.problem, run.n_parts_done = document, 0
            run.cost = run.bound_cost = run.gap_frac = None
            run.solution = None
            run.site_version = site_version(run.site_id)
            _go_on(run, at)
        else:
            run.state = RosterState.DRAFT if run.solution else RosterState.IMPOSSIBLE
            run.why, run.finished_at = why, at
        run.save()
        write.touch()
    return run


def _fail(run: RosterRun, code: str, at: datetime) -> RosterRun:
    """End a run that comes to nothing; `words.FAILED` says why."""
    run.state, run.why, run.finished_at = RosterState.FAILED, [{"failed": code}], at
    run.save(update_fields=["state", "why", "finished_at"])
    return run


def end_given_up(*, site_id: int, at: datetime) -> bool:
    """End the roster being made whose background run was given up; say whether there was one."""
    with site_write(site_id, at) as write:
        rows = RosterRun.objects.select_for_update(no_key=True)
        run = rows.filter(site_id=site_id, state=RosterState.SOLVING).first()
        if run is None:
            return False
        tasks = TaskRun.objects.filter(kind=RUN_KIND, site_id=site_id, args__roster=run.pk)
        states = set(tasks.values_list("state", flat=True))
        if RunState.DEAD not in states or states & {RunState.WAITING, RunState.RUNNING}:
            return False
        _fail(run, "search", at)
        write.touch()
    return True


def cancel_roster(*, site_id: int, run_id: int, at: datetime) -> RosterRun:
    """Give a roster up that is being made or waits to be published."""
    with site_write(site_id, at) as write:
        run = _find(site_id, run_id)
        if run.state not in (RosterState.SOLVING, RosterState.DRAFT):
            raise RosterStateError(_("This roster is not being made and is no draft."))
        run.state, run.finished_at = RosterState.CANCELLED, at
        run.save(update_fields=["state", "finished_at"])
        write.touch()
    return run


def _find(site_id: int, run_id: int) -> RosterRun:
    rows = RosterRun.objects.select_for_update(of=("self",), no_key=True)
    run = rows.select_related("site").filter(site_id=site_id, pk=run_id).first()
    if run is None:
        raise NotFoundError(_("There is no roster %d here.") % run_id)
    return run


def publish_roster(*, site_id: int, run_id: int, at: datetime) -> RosterRun:
    """Make a draft the roster: its shifts, and who must be told.

    It is judged again by the facts of now: a draft that breaks a rule by them is refused.
    """
    with site_write(site_id, at) as write:
        lock_roster(site_id)
        run = _find(site_id, run_id)
        solution = solution_of(run)
        if run.state != RosterState.DRAFT or solution is None:
            raise RosterStateError(_("Only a draft can be published."))
        facts = read_facts(run.site, run.from_on, run.until_on)
        problem = build_week(facts, at=at, is_refill=run.is_refill)
        verdict = check_week(problem, with_record_beside(facts, run, solution))
        broken = say_broken(verdict.broken, Names.of(site_id, facts.kinds))
        broken += _changed_since(facts, run, solution)
        if broken:
            words = _("What it rests on has changed since it was made; make it anew.")
            faults = [FieldFault("", "breaks", text) for text in broken]
            raise RosterBreaksError(" ".join([words, *broken]), faults)
        told = put_days(facts, _days_of(facts, solution), at=at, write=write)
        _forget_by_hand(facts, [(one.worker_id, one.on) for one in told])
        run.told = [one.as_document() for one in told]
        run.state, run.published_at = RosterState.PUBLISHED, at
        run.save(update_fields=["told", "state", "published_at"])
        write.touch()
    return run


def _changed_since(facts: Facts, run: RosterRun, solution: Solution) -> list[str]:
    """Say which days were changed by hand after a draft was made that has them otherwise."""
    names = {worker.pk: worker.name for worker in facts.workers}
    since = run.finished_at or run.made_at
    return [
        _("%(name)s's %(day)s was changed by hand since.")
        % {"name": names[worker_id], "day": say_day(on)}
        for (worker_id, on), kind in sorted(_days_of(facts, solution).items())
        if (day := facts.by_hand.get((worker_id, on))) is not None
        and day.decided_at > since
        and facts.turns.get((worker_id, on)) != kind
    ]


def _forget_by_hand(facts: Facts, days: list[tuple[int, date]]) -> None:
    """A day that is published otherwise is not as it was put by hand any more."""
    gone = [facts.by_hand[day].pk for day in days if day in facts.by_hand]
    DayByHand.objects.filter(pk__in=gone).delete()


def with_record_beside(facts: Facts, run: RosterRun, solution: Solution) -> Solution:
    """The draft, and what is on record now of other days, the day after too."""
    mine = [a for a in solution.assignments if run.from_on <= a.on < run.until_on]
    beside = [a for a in roster_on_record(facts) if not run.from_on <= a.on < run.until_on]
    return replace(solution, assignments=(*mine, *beside))


def _days_of(facts: Facts, solution: Solution) -> Days:
    kind_of = {(a.person, a.on): a.kind for a in solution.assignments}
    return {
        (worker.pk, on): kind_of.get((worker.key, on))
        for worker in facts.workers
        for on in facts.days
    }
