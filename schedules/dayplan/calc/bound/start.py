"""A plan's rows, and prices read off them, for the bound to begin with."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator

import numpy as np

from schedules.dayplan.calc.bound.day import RelaxedDay
from schedules.dayplan.calc.bound.rows import Prices, Row, Rows
from schedules.dayplan.calc.solution import Assignment


def rows_of_plan(
    day: RelaxedDay, turns: Iterable[Rows], plan: Iterable[Assignment]
) -> Iterator[tuple[Row, list[float]]]:
    """Yield the rows of a plan's people, each with what its parts cost.

    Parts that the relaxed day does not have are passed over: whatever these rows are, prices prove
    a bound all the same.
    """
    given = sorted(plan, key=lambda a: (a.start, a.end, a.job))
    stands = {stand.job: s for s, stand in enumerate(day.stands) if stand.job >= 0}
    first = {next(iter(st.machines)): s for s, st in enumerate(day.stands) if st.job < 0}
    machines = {machine.id: m for m, machine in enumerate(day.problem.machines)}
    stand_of: dict[int, int] = {}
    known: dict[str, int] = {}
    of_person: dict[str, list[tuple[int, bool, float, float]]] = defaultdict(list)
    for a in given:
        j = day.index[a.job]
        if a.machine is not None:
            stand_of[j] = known.get(a.machine, first[machines[a.machine]])
            known[a.machine] = stands[j]
        for i, person in enumerate(a.people):
            is_driver = i == 0 and day.problem.jobs[j].is_driven
            done = (j, is_driver, day.minute(a.start), day.minute(a.end))
            of_person[person].append(done)
    for rows in turns:
        row = _row(day, rows, of_person[rows.turn.person], stand_of)
        if row[0].parts:
            yield row


def _row(
    day: RelaxedDay,
    rows: Rows,
    done: list[tuple[int, bool, float, float]],
    stand_of: dict[int, int],
) -> tuple[Row, list[float]]:
    turn = rows.turn
    at = {(day.parts[r].job, day.parts[r].is_driver): k for k, r in enumerate(turn.parts)}
    choices = {choice.part: choice for choice in turn.choices}
    before, slot, parts, stands, costs = rows.n, 0, [], [], []
    for j, is_driver, start, end in done:
        k = at.get((j, is_driver))
        if k is None or not turn.begins_min <= start < turn.until_min:
            continue
        cost = turn.costs[before, k]
        if k in choices:
            s = int(np.flatnonzero(choices[k].stands == stand_of[j])[0])
            cost = choices[k].costs[before, s]
            stands.append(stand_of[j])
        slot = min(rows.n_slots - 1, int((end - turn.begins_min) / day.slot_min))
        parts.append(int(turn.parts[k]))
        costs.append(float(cost + turn.late[k, slot]))
        before = k
    total = sum(costs) + (float(turn.closing[before, slot]) if parts else 0.0)
    return Row(rows.t, tuple(parts), tuple(stands), total), costs


def first_prices(day: RelaxedDay, rows: Iterable[tuple[Row, list[float]]]) -> Prices:
    """Return prices that are what each part costs in a plan."""
    parts, n = np.zeros(len(day.parts)), np.array([part.n for part in day.parts])
    for row, costs in rows:
        for r, cost in zip(row.parts, costs, strict=True):
            parts[r] += cost
    return Prices(parts / n, np.zeros(len(day.stands)))
