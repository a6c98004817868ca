"""Verbs of the day's plan: solve, put in place, drop what broke, reassign by hand."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from time import monotonic
from typing import Any

from django.db.models import Max, Q

from crews.roster.queries import working_shifts
from equipment.machines.queries import usable_machine_ids
from equipment.site.calc.local_time import local_date_of
from equipment.site.models import Site
from equipment.site.queries import site_version
from equipment.site.writes import site_write
from schedules.work.models import Status, WorkOrder

from .build import EXCLUSIVE, DayFacts, build_day
from .calc.json_io import problem_to_json, solution_to_json
from .calc.model import OnProgress, solve_day
from .calc.robust import chances_in_time
from .calc.solution import Assignment as Planned
from .calc.solution import Reason, ReasonCode, Solution
from .calc.solution import Status as SolutionStatus
from .known import jobs_of, known_plan, new_of, standing
from .models import Assignment, Claim, DaySearch, PlanRun, Unassigned
from .searches import ensure_search, lock_search
from .told import as_planned, changes_between, to_document

SOLVE_S = 6.0
SEED = 1


@dataclass(frozen=True, slots=True)
class SolvedDay:
    """A solve, with the version of the site it was made of."""

    facts: DayFacts
    solution: Solution
    site_version: int
    seed: int = SEED
    took_s: float = 0
    chances: Mapping[str, float] = field(default_factory=dict)

    @property
    def is_optimal(self) -> bool:
        """Whether no plan of these facts can be better."""
        return self.solution.status == SolutionStatus.OPTIMAL


def solve_site(
    site_id: int,
    now: datetime,
    seconds: float = SOLVE_S,
    *,
    seed: int = SEED,
    on_progress: OnProgress | None = None,
) -> SolvedDay:
    """Read the farm and solve its next 26 hours. Writes nothing but what `on_progress` does."""
    version, began_s = site_version(site_id), monotonic()
    facts = build_day(site_id, now)
    solution = solve_day(facts.problem, seconds=seconds, seed=seed, on_progress=on_progress)
    chances = chances_in_time(facts.problem, solution.assignments)
    return SolvedDay(facts, solution, version, seed, monotonic() - began_s, chances)


def plan_day(*, site_id: int, at: datetime, seconds: float = SOLVE_S) -> PlanRun:
    """Solve and put in place, in one go."""
    run = put_plan(site_id=site_id, solved=solve_site(site_id, at, seconds), at=at)
    assert run is not None  # without a run it is always put in place
    return run


def put_plan(
    *, site_id: int, solved: SolvedDay, at: datetime, run_id: int | None = None
) -> PlanRun | None:
    """Replace the open, not by-hand assignments by a solution's, in one transaction.

    What moved while it was solved is left out: orders closed or begun since, machines held,
    people called in sick. They are looked at again by the run that their change has rung for.
    What stays as it is is not written anew. With `run_id`, the task run that solved, nothing is
    put in place and None given when the plan of a later run stands.
    """
    with site_write(site_id, at) as write:
        site = Site.objects.select_for_update(no_key=True).get(id=site_id)
        search = lock_search(site_id, run_id)
        if search is None:
            return None
        stands = standing(site_id, solved.facts)
        orders = _lock_orders(site_id, solved)
        unbind_claims(site_id)
        free = {pk for pk, o in orders.items() if o.status == Status.NEEDS_ACTION}
        old = known_plan(free, search)
        planned = [
            a
            for a in solved.solution.assignments
            if stands.holds(a) and int(a.job) in old.replaceable
        ]
        new = new_of(old.known, planned)
        gone = {int(a.job) for a in new_of(planned, old.known)}
        Assignment.objects.filter(work_order_id__in=gone).delete()
        _write_assignments(site_id, new, orders)
        search.put_by, search.dropped = run_id or search.put_by, []
        search.save(update_fields=["put_by", "dropped"])
        changes = changes_between(old.told, [*planned, *old.by_hand_now])
        nobody = set(old.replaceable) - {int(a.job) for a in planned}
        counts = len(planned) + len(old.by_hand), len(nobody)
        run = _write_run(site, solved, at, counts, changes)
        _write_unassigned(run, solved, nobody)
        write.touch()
    return run


def _lock_orders(site_id: int, solved: SolvedDay) -> dict[int, WorkOrder]:
    rows = (
        WorkOrder.objects.select_for_update(of=("self",), no_key=True)
        .filter(site_id=site_id, id__in=[int(key) for key in solved.facts.orders])
        .select_related("place")
        .order_by("id")
    )
    return {row.pk: row for row in rows}


def _write_assignments(
    site_id: int, planned: Sequence[Planned], orders: dict[int, WorkOrder]
) -> None:
    rows = Assignment.objects.bulk_create(
        Assignment(site_id=site_id, work_order_id=int(a.job), starts_at=a.start, ends_at=a.end)
        for a in planned
    )
    Claim.objects.bulk_create(
        claim
        for row, a in zip(rows, planned, strict=True)
        for claim in claims_of(
            row,
            [int(person) for person in a.people],
            int(a.machine) if a.machine else None,
            orders[row.work_order_id],
        )
    )


def claims_of(
    row: Assignment, worker_ids: Sequence[int], machine_id: int | None, order: WorkOrder
) -> list[Claim]:
    span = (row.starts_at, row.ends_at)
    base: dict[str, Any] = {"site_id": row.site_id, "assignment": row, "span": span}
    claims = [Claim(worker_id=worker_id, **base) for worker_id in worker_ids]
    if machine_id is not None:
        claims.append(Claim(machine_id=machine_id, **base))
    if order.place.kind in EXCLUSIVE:
        claims.append(Claim(place_id=order.place_id, **base))
    return claims


def _write_run(
    site: Site,
    solved: SolvedDay,
    at: datetime,
    counts: tuple[int, int],
    changes: list[dict[str, Any]],
) -> PlanRun:
    """Keep the plan with its documents, and how many jobs have somebody and nobody."""
    day = local_date_of(at, site.zone)
    last = PlanRun.objects.filter(site=site, local_date=day).aggregate(n=Max("number"))["n"] or 0
    return PlanRun.objects.create(
        site=site,
        local_date=day,
        number=last + 1,
        made_at=at,
        site_version=solved.site_version,
        seed=solved.seed,
        problem=json.loads(problem_to_json(solved.facts.problem)),
        solution=json.loads(solution_to_json(solved.solution)),
        n_assigned=counts[0],
        n_unassigned=counts[1],
        score=asdict(solved.solution.score),
        bound_cost=solved.solution.bound_cost,
        took_s=solved.took_s,
        chances={job: round(chance, 3) for job, chance in solved.chances.items() if chance < 1},
        changes=changes,
    )


def _write_unassigned(run: PlanRun, solved: SolvedDay, order_ids: set[int]) -> None:
    """Say of every order of the plan that nobody has why."""
    Unassigned.objects.filter(site_id=run.site_id).delete()
    reasons = reasons_of(solved.facts, solved.solution, order_ids)
    Unassigned.objects.bulk_create(
        Unassigned(
            site_id=run.site_id,
            work_order_id=order_id,
            plan=run,
            reasons=reasons[order_id],
        )
        for order_id in sorted(order_ids)
    )


def reasons_of(
    facts: DayFacts, solution: Solution, order_ids: Iterable[int]
) -> dict[int, list[dict[str, Any]]]:
    """Give why each of some orders has nobody, as documents."""
    found: dict[int, tuple[Reason, ...]] = {
        int(left.job): left.reasons for left in solution.left_out
    } | {order_id: (reason,) for order_id, reason in facts.unaskable.items()}
    overtaken = (Reason(ReasonCode.MOVED_MEANWHILE),)
    return {
        order_id: [
            {"code": reason.code, "facts": dict(reason.facts)}
            for reason in found.get(order_id, overtaken)
        ]
        for order_id in order_ids
    }


def unbind_claims(site_id: int) -> None:
    """Let claims of begun or closed work bind no longer; work taken back is given anew."""
    untouched = Q(assignment__work_order__status=Status.NEEDS_ACTION)
    claims = Claim.objects.filter(site_id=site_id)
    again = claims.filter(untouched, is_binding=False).values_list("assignment_id", flat=True)
    Assignment.objects.filter(id__in=set(again)).delete()
    # By number: an update that joins its own table may take minutes while statistics are young.
    over = set(claims.filter(~untouched, is_binding=True).values_list("id", flat=True))
    Claim.objects.filter(id__in=over).update(is_binding=False)


# What breaks a plan -----------------------------------------------------------------------------


def drop_broken(*, site_id: int, at: datetime) -> int:
    """Take people and machines that are out, and times no longer in the window, off future work.

    By-hand assignments go too when what they rest on is gone: a person is told by the decision.
    """
    usable = usable_machine_ids(site_id)
    claims = Claim.objects.filter(
        site_id=site_id,
        assignment__work_order__status=Status.NEEDS_ACTION,
        assignment__ends_at__gt=at,
    )
    broken = set(
        claims.filter(machine__isnull=False, assignment__work_order__for_machine=None)
        .exclude(machine_id__in=usable)
        .values_list("assignment_id", flat=True)
    )
    broken |= _without_shift(site_id, claims, at)
    broken |= {
        a.pk
        for a in Assignment.objects.filter(
            site_id=site_id, work_order__status=Status.NEEDS_ACTION
        ).select_related("work_order")
        if a.starts_at < a.work_order.starts_after or a.ends_at > a.work_order.due_at
    }
    Assignment.objects.filter(
        site_id=site_id, work_order__status=Status.CANCELLED, starts_at__gt=at
    ).delete()
    _remember(site_id, broken)
    return Assignment.objects.filter(id__in=broken).delete()[0]


def _remember(site_id: int, assignment_ids: Collection[int]) -> None:
    """Keep what is taken off until the next plan has said what became of it."""
    if assignment_ids:
        rows = Assignment.objects.filter(id__in=assignment_ids).prefetch_related("claims")
        _keep(site_id, [to_document(as_planned(row)) for row in rows])


def remember_order(order: WorkOrder) -> None:
    """Keep who has a work order, or that nobody has, before it is given otherwise by hand."""
    rows = Assignment.objects.filter(work_order=order).prefetch_related("claims")
    nobody = Planned(str(order.pk), (), None, order.starts_after, order.due_at)
    had = [as_planned(row) for row in rows] or [nobody]
    _keep(order.site_id, [to_document(given) for given in had])


def _keep(site_id: int, documents: Iterable[dict[str, Any]]) -> None:
    """Add to what the site's search remembers; of each order the first counts."""
    ensure_search(site_id)
    search = DaySearch.objects.select_for_update(no_key=True).get(site_id=site_id)
    jobs = jobs_of(search)
    search.dropped = [*search.dropped, *(d for d in documents if d["work_order"] not in jobs)]
    search.save(update_fields=["dropped"])


def _without_shift(site_id: int, claims: Any, at: datetime) -> set[int]:
    """Assignments of people who are on no shift for all of them."""
    mine = list(claims.filter(worker__isnull=False).select_related("assignment"))
    if not mine:
        return set()
    end = max(c.span.upper for c in mine)
    spans: dict[int, list[tuple[datetime, datetime]]] = {}
    for shift in working_shifts(site_id, at, end):
        spans.setdefault(shift.worker_id, []).append((shift.starts_at, shift.ends_at))
    return {c.assignment_id for c in mine if not _is_on(c, spans.get(c.worker_id, ()))}


def _is_on(claim: Claim, spans: Iterable[tuple[datetime, datetime]]) -> bool:
    """Whether a shift covers the claim; what was given by hand may run past its shift's ends."""
    start, end = claim.span.lower, claim.span.upper
    if claim.assignment.is_by_hand:
        return any(s < end and start < e for s, e in spans)
    return any(s <= start and end <= e for s, e in spans)
