"""Runs that would meet people, machines or cows."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.flushing.calc import PlannedRun, Presence, Who, find_conflicts

FIVE = datetime(2026, 6, 1, 5, tzinfo=UTC)
WAYS: dict[str, str | None] = {"alley": "back", "back": "lane", "lane": None, "other": None}


def minutes(n: float) -> timedelta:
    return timedelta(minutes=n)


def run(start: float = 0, length: float = 5) -> PlannedRun[str]:
    return PlannedRun("r", "tank", "alley", FIVE + minutes(start), 30, length * 60)


def there(place: str, start: float, end: float, who: Who = Who.PEOPLE) -> Presence[str]:
    return Presence("job", who, place, FIVE + minutes(start), FIVE + minutes(end))


@pytest.mark.parametrize("who", list(Who))
@pytest.mark.parametrize("place", ["alley", "back", "lane"])
def test_a_run_meets_who_is_in_its_way(place: str, who: Who) -> None:
    # Common practice, no source: nobody anywhere on the water's way, down to the lane
    (conflict,) = find_conflicts([run()], [there(place, 4, 30, who)], WAYS)
    assert (conflict.run_key, conflict.presence.who) == ("r", who)


def test_who_is_elsewhere_or_left_in_time_meets_no_water() -> None:
    away = [there("other", 0, 30), there("alley", -30, 0), there("alley", 5, 30)]
    assert find_conflicts([run()], away, WAYS) == []


@given(st.floats(-60, 60), st.floats(1, 60), st.floats(1, 20))
def test_found_are_exactly_the_overlaps(start: float, length: float, runs_min: float) -> None:
    presence = there("alley", start, start + length)
    drained_at = FIVE + minutes(runs_min)
    overlap = min(presence.end_at, drained_at) - max(presence.start_at, FIVE)
    found = find_conflicts([run(length=runs_min)], [presence], WAYS)
    assert bool(found) == (overlap > timedelta(0))


def test_a_way_that_is_not_known_is_refused() -> None:
    with pytest.raises(ValueError, match="where 'alley' drains"):
        find_conflicts([run()], [], {})
    with pytest.raises(ValueError, match="end_at must be after"):
        there("alley", 5, 5)
