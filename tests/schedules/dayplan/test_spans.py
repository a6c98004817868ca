"""The search's own arithmetic against the records' plain one."""

from datetime import timedelta
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from schedules.dayplan.calc.instance import Instance
from schedules.dayplan.calc.resources import Effort, HeatRest, end_with_rest
from schedules.dayplan.calc.room import last_start, most_at_once
from schedules.dayplan.calc.spans import common, cut, end_of_work, merged

from .tiny import a_day, a_job, a_person, at

SPANS = st.lists(
    st.tuples(st.integers(0, 60), st.integers(1, 20)).map(lambda s: (s[0], s[0] + s[1])),
    max_size=5,
)


def seconds_in(spans: list[tuple[int, int]]) -> set[int]:
    return {second for start, end in spans for second in range(start, end)}


@given(SPANS, SPANS)
def test_cutting_and_meeting_share_every_second_out(
    spans: list[tuple[int, int]], others: list[tuple[int, int]]
) -> None:
    left, met = seconds_in(cut(spans, others)), seconds_in(common(spans, others))

    assert left | met == seconds_in(spans)
    assert left & seconds_in(others) == set()
    assert met <= seconds_in(others)


@given(SPANS)
def test_merged_spans_hold_the_same_seconds_and_do_not_touch(
    spans: list[tuple[int, int]],
) -> None:
    union = merged(spans)

    assert seconds_in(union) == seconds_in(spans)
    assert all(a[1] < b[0] for a, b in pairwise(union))


@given(st.lists(SPANS.map(merged), max_size=4))
def test_most_at_once_is_the_fullest_second(several: list[list[tuple[int, int]]]) -> None:
    counts = [sum(s in seconds_in(spans) for spans in several) for s in range(90)]

    assert most_at_once(several) == max(counts)


@given(
    st.integers(0, 200), st.integers(1, 120), st.lists(st.integers(0, 60), min_size=3, max_size=3)
)
def test_rested_work_ends_where_the_records_say(
    start_min: int, work_min: int, rests: list[int]
) -> None:
    heat = tuple(
        HeatRest(at(60 * i + 10), at(60 * i + 50), 0, 0, rest) for i, rest in enumerate(rests)
    )
    ana = a_person("ana", heat_rests=heat)
    inst = Instance(a_day(ana, a_job(effort=Effort.HEAVY)))
    slow = inst.slow[inst.tasks[0].effort][inst.units[0].pace]

    end = inst.instant(end_of_work(60 * start_min, 60 * work_min, slow))
    exact = end_with_rest([ana], at(start_min), work_min, Effort.HEAVY)

    assert timedelta(milliseconds=-1) < end - exact < timedelta(seconds=1)


@given(st.integers(0, 4000), st.integers(1, 3000), st.integers(0, 60))
def test_a_later_start_never_ends_earlier(start: int, work: int, rate: int) -> None:
    slow = [(1000, 2000, rate), (3000, 3500, 60 - rate)]

    assert end_of_work(start, work, slow) <= end_of_work(start + 1, work, slow)


@given(st.integers(0, 500), st.integers(1, 900), st.integers(1, 2000), st.integers(0, 60))
def test_the_last_start_is_the_last_that_ends_in_time(
    first: int, work: int, length: int, rate: int
) -> None:
    slow, end = [(300, 800, rate)], first + length
    in_time = [s for s in range(first, end) if end_of_work(s, work, slow) <= end]

    assert last_start(first, end, work, slow) == max(in_time, default=first - 1)
