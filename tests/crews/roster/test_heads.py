"""Head counts against a hand count and a minute-by-minute oracle."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crews.roster.calc.heads import (
    ANYBODY,
    HeadCounts,
    Shortage,
    SkillHeld,
    head_counts,
    shortages,
)
from crews.roster.calc.shifts import Shift
from equipment.site.calc.local_time import parse_instant
from equipment.site.calc.refusal import RefusedValueError

MONDAY = date(2026, 6, 1)
SIX_AM = parse_instant("2026-06-01T06:00-06:00")


def shift(worker: str, start_h: float, end_h: float) -> Shift:
    start, end = (SIX_AM + timedelta(hours=h) for h in (start_h, end_h))
    return Shift(worker, "day", MONDAY, start, end)


def test_heads_are_counted_by_skill_and_half_hour() -> None:
    shifts = [shift("ana", 0, 2), shift("ben", 0.25, 1.75)]
    skills = [
        SkillHeld("ana", "loader", MONDAY),
        SkillHeld("ben", "loader", MONDAY),
        SkillHeld("ben", "sand", MONDAY),
        SkillHeld("ana", "water", date(2026, 1, 1), MONDAY),
    ]
    counts = head_counts(shifts, skills, SIX_AM, SIX_AM + timedelta(hours=2.25))
    assert {key: row.tolist() for key, row in counts.by_skill.items()} == {
        ANYBODY: [1, 2, 2, 1],
        "loader": [1, 2, 2, 1],
        "sand": [0, 1, 1, 0],
    }


@given(
    spans=st.lists(st.tuples(st.integers(-300, 900), st.integers(1, 700)), max_size=6),
    step_min=st.sampled_from([15, 30, 60]),
)
def test_a_head_counts_in_a_step_only_if_it_is_there_every_minute(
    spans: list[tuple[int, int]], step_min: int
) -> None:
    shifts = [shift(f"w{n}", a / 60, (a + long) / 60) for n, (a, long) in enumerate(spans)]
    counts = head_counts(shifts, [], SIX_AM, SIX_AM + timedelta(hours=8), step_min)
    minutes = [{a + n for n in range(long)} for a, long in spans]
    expected = [
        sum(set(range(at, at + step_min)) <= worked for worked in minutes)
        for at in range(0, 8 * 60, step_min)
    ]
    assert counts.by_skill[ANYBODY].tolist() == expected


def test_a_span_of_one_step_is_one_step() -> None:
    """A shift of 490 min taken as one step: hours as a binary fraction lost the step."""
    for step_min in range(1, 24 * 60 + 1):
        end = SIX_AM + timedelta(minutes=step_min)
        assert head_counts([], [], SIX_AM, end, step_min).n_steps == 1


def test_need_against_have_gives_the_stretches_that_are_short() -> None:
    have = head_counts(
        [shift("ana", 0, 1), shift("ben", 0, 2)],
        [SkillHeld("ana", "loader", MONDAY)],
        SIX_AM,
        SIX_AM + timedelta(hours=2),
    )
    found = shortages(
        {ANYBODY: [2, 2, 2, 2], "loader": [1, 1, 0, 1], "electric": [0, 1, 0, 0]}, have
    )
    hour, half = timedelta(hours=1), timedelta(minutes=30)
    assert found == [
        Shortage("electric", SIX_AM + half, SIX_AM + hour, 1, 0),
        Shortage(ANYBODY, SIX_AM + hour, SIX_AM + 2 * hour, 2, 1),
        Shortage("loader", SIX_AM + hour + half, SIX_AM + 2 * hour, 1, 0),
    ]


def test_a_need_of_another_length_is_refused() -> None:
    have = HeadCounts(SIX_AM, 30, 4, {})
    with pytest.raises(RefusedValueError, match="out_of_range"):
        shortages({ANYBODY: [1, 1, 1]}, have)
