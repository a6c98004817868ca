"""`python -m tests.benchmarks.day_replan`: generated days are upset in mid-shift and planned anew.

Each disturbance (a person sick, a machine held, a pen late, a pen early, rain) is planned anew in
two seconds beside the running plan, and freely (no change is priced, what is begun stays) for
longer. Told are jobs changed for jobs hit, cost without that of changes over the free plan's, and
what either leaves out. How a day is upset is common practice, no source.
"""

from __future__ import annotations

import os
import sys
from argparse import ArgumentParser, Namespace
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from statistics import median

from config import compiled_code

compiled_code.choose_folder()  # before the loops are imported

from schedules.dayplan.calc.check import check  # noqa: E402
from schedules.dayplan.calc.diff import diff_plans  # noqa: E402
from schedules.dayplan.calc.model import solve_day  # noqa: E402
from schedules.dayplan.calc.problem import Booking, Job, Problem  # noqa: E402
from schedules.dayplan.calc.resources import Block, Interval, Shift  # noqa: E402
from schedules.dayplan.calc.solution import Assignment, Solution  # noqa: E402
from tests.benchmarks.day_generator import DAY, farm_day  # noqa: E402

NOW = DAY + timedelta(hours=9)  # an hour into the second shift
MOVED, RAIN = timedelta(minutes=20), timedelta(hours=4)
ROW = "{:<14} {:>4} {:>5} {:>8} {:>8} {:>7} {:>7} {:>7} {:>7}"
HEADS = ("upset by", "day", "hit", "changed", "ch/hit", "cost", "free", "ratio", "out/free")

Upset = Callable[[Problem, Solution], Problem]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one disturbance came to."""

    n_hit: int
    n_changed: int
    cost: float
    free_cost: float
    n_out: int
    n_out_free: int
    n_broken: int

    @property
    def ratio(self) -> float:
        return self.cost / self.free_cost if self.free_cost else 1.0


def person_sick(day: Problem, plan: Solution) -> Problem:
    """Send home the person with most to come who is at nothing now."""
    given = _most_to_come(plan, lambda a: a.people[:1])
    at_home = (
        replace(p, shifts=tuple(_cut(s) for s in p.shifts if s.start < NOW)) if p.id == given else p
        for p in day.people
    )
    return replace(day, people=tuple(at_home))


def _cut(shift: Shift) -> Shift:
    return replace(shift, end=min(shift.end, NOW), overtime_min=0)


def machine_held(day: Problem, plan: Solution) -> Problem:
    """Hold for the rest of the day the machine with most to come that runs nowhere now."""
    given = _most_to_come(plan, lambda a: (a.machine,) if a.machine else ())
    rest = Interval(NOW, day.horizon.end)
    held = (
        replace(m, holds=(*(h for h in m.holds if h.end <= NOW), rest)) if m.id == given else m
        for m in day.machines
    )
    return replace(day, machines=tuple(held))


def _most_to_come(plan: Solution, whose: Callable[[Assignment], tuple[str, ...]]) -> str:
    busy = {who for a in plan.assignments if a.start <= NOW < a.end for who in whose(a)}
    to_come: dict[str, int] = {}
    for a in plan.assignments:
        for who in whose(a):
            if a.start > NOW and who not in busy:
                to_come[who] = to_come.get(who, 0) + 1
    return max(to_come, key=lambda who: (to_come[who], who))


def pen_late(day: Problem, _plan: Solution) -> Problem:
    return _pen_moved(day, MOVED)


def pen_early(day: Problem, _plan: Solution) -> Problem:
    return _pen_moved(day, -MOVED)


def _pen_moved(day: Problem, by: timedelta) -> Problem:
    """Move the windows of the next visit that has not begun, and the blocks that follow it."""
    coming = [
        job
        for job in day.jobs
        if job.kind == "bed_groom" and job.locked is None and job.windows[0].start > NOW + MOVED
    ]
    visit = min(coming, key=lambda job: job.windows[0].start)
    key = visit.id.removeprefix("groom-")
    closes = visit.windows[0].end
    jobs = (
        replace(job, windows=tuple(Interval(w.start + by, w.end + by) for w in job.windows))
        if job.locked is None and job.id.split("-", 1)[1] == key
        else job
        for job in day.jobs
    )
    after = (visit.place, f"alley-{key.split('-')[1]}-0", f"alley-{key.split('-')[1]}-1")
    blocks = (
        replace(b, start=b.start + by, end=b.end + by)
        if b.place in after and closes <= b.start <= closes + timedelta(hours=1)
        else b
        for b in day.blocks
    )
    return replace(day, jobs=tuple(jobs), blocks=tuple(blocks))


def rain(day: Problem, plan: Solution) -> Problem:
    """Close the bays that nobody is in for four hours."""
    busy = {a.job for a in plan.assignments if a.start <= NOW < a.end}
    taken = {job.place for job in day.jobs if job.id in busy}
    bays = [p.key for p in day.places if p.key.startswith("bay-") and p.key not in taken]
    wet = tuple(Block(key, NOW, NOW + RAIN, "rain") for key in bays)
    return replace(day, blocks=(*day.blocks, *wet))


UPSETS: tuple[Upset, ...] = (person_sick, machine_held, pen_late, pen_early, rain)


def at_now(day: Problem, plan: Solution) -> Problem:
    """The day as it is now: what is begun is locked, the rest has a plan and begins from now on."""
    given = {a.job: Booking(a.people, a.machine, a.start, a.end) for a in plan.assignments}
    return replace(day, jobs=tuple(_job_now(job, given.get(job.id)) for job in day.jobs))


def _job_now(job: Job, booking: Booking | None) -> Job:
    if booking is not None and booking.start <= NOW:
        return replace(job, locked=booking, previous=booking)
    late = [Interval(max(w.start, NOW), w.end) for w in job.windows if w.end > NOW]
    return replace(job, windows=tuple(late) or job.windows[-1:], previous=booking)


def _alike(day: Problem) -> Problem:
    return replace(day, jobs=tuple(replace(job, previous=None) for job in day.jobs))


def upset_once(day: Problem, plan: Solution, upset: Upset, asked: Namespace) -> Outcome:
    """Upset the day once and plan it anew in both ways."""
    before = [a for a in plan.assignments if a.start > NOW]
    worse = upset(at_now(day, plan), plan)
    n_hit = len({b.job for b in check(worse, plan).broken if b.job and not b.is_locked})
    anew = solve_day(worse, seconds=asked.seconds, seed=1, workers=asked.workers)
    free = solve_day(_alike(worse), seconds=asked.free_seconds, seed=2, workers=asked.workers)
    after = [a for a in anew.assignments if a.start > NOW]
    tolerance_min = worse.weights.change_tolerance_min
    changed = diff_plans(before, after, tolerance_min=tolerance_min)
    return Outcome(
        n_hit=n_hit,
        n_changed=len(changed),
        cost=anew.score.total_cost - worse.weights.change_per_job * anew.score.n_changes,
        free_cost=free.score.total_cost,
        n_out=len(anew.left_out),
        n_out_free=len(free.left_out),
        n_broken=sum(not b.is_locked for b in check(worse, anew).broken),
    )


def main(arguments: list[str]) -> int:
    parser = ArgumentParser(prog="python -m tests.benchmarks.day_replan")
    parser.add_argument("--jobs", type=int, default=300)
    parser.add_argument("--days", type=int, default=10)
    parser.add_argument("--seconds", type=float, default=2.0)
    parser.add_argument("--free-seconds", type=float, default=30.0)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    asked = parser.parse_args(arguments)
    solve_day(farm_day(40), seconds=0.1)  # what is compiled is compiled before
    print(ROW.format(*HEADS))
    found = list(_all(asked))
    _sum_up(found)
    return 0 if not any(outcome.n_broken for outcome in found) else 1


def _all(asked: Namespace) -> Iterator[Outcome]:
    for number in range(1, asked.days + 1):
        day = farm_day(asked.jobs, number)
        plan = solve_day(day, seconds=asked.free_seconds, seed=1, workers=asked.workers)
        for upset in UPSETS:
            o = upset_once(day, plan, upset, asked)
            each = o.n_changed / o.n_hit if o.n_hit else float("nan")
            cells = (f"{each:.2f}", f"{o.cost:.0f}", f"{o.free_cost:.0f}", f"{o.ratio:.3f}")
            name = upset.__name__.replace("_", " ")
            out = f"{o.n_out}/{o.n_out_free}"
            print(ROW.format(name, number, o.n_hit, o.n_changed, *cells, out), flush=True)
            yield o


def _sum_up(found: list[Outcome]) -> None:
    each = [o.n_changed / o.n_hit for o in found if o.n_hit]
    ratios = [o.ratio for o in found]
    worse = sum(o.n_out > o.n_out_free for o in found)
    print(f"jobs changed for each hit, median: {median(each):.2f}" if each else "nothing was hit")
    print(f"cost over the free plan's: median {median(ratios):.3f}, worst {max(ratios):.3f}")
    print(f"more left out than freely: {worse} of {len(found)}")
    print(f"rules broken: {sum(o.n_broken for o in found)}")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
