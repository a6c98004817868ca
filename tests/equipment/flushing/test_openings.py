"""One valve of a tank at a time: what has begun stands, what is planned waits its turn."""

from datetime import datetime, timedelta

from equipment.flushing.lengths import RunLength
from equipment.flushing.models import FlushTimer
from equipment.flushing.openings import Opening, queue
from tests.factories import utc

NOON = utc("2026-06-01 12:00")
LENGTH = RunLength(open=timedelta(minutes=2), total=timedelta(minutes=6), volume_m3=60)


def minutes(n: float) -> timedelta:
    return timedelta(minutes=n)


def opening(key: str, starts_at: datetime, tank_id: int = 1) -> Opening:
    return Opening(key, FlushTimer(tank_id=tank_id), starts_at, LENGTH)


def starts(
    *openings: Opening, begun: dict[str, datetime] | None = None, at: datetime = NOON
) -> dict[str, datetime]:
    return {o.key: o.starts_at for o in queue(openings, begun=begun or {}, at=at)}


def test_first_wished_is_first_served_and_the_key_decides_between_equals() -> None:
    later = NOON + minutes(1)
    found = starts(opening("b", later), opening("c", NOON), opening("a", later))
    assert found == {"c": NOON, "a": NOON + minutes(2), "b": NOON + minutes(4)}


def test_each_tank_has_its_own_queue() -> None:
    assert starts(opening("a", NOON, 1), opening("b", NOON, 2)) == {"a": NOON, "b": NOON}


def test_what_has_begun_keeps_its_time_and_the_rest_waits_for_it() -> None:
    begun = {"a": NOON - minutes(1), "c": NOON}  # they overlap: that has happened
    found = starts(*(opening(key, NOON - minutes(1)) for key in "abc"), begun=begun)
    assert found == {**begun, "b": NOON + minutes(2)}


def test_nothing_is_put_into_the_past() -> None:
    assert starts(opening("a", NOON - minutes(9))) == {"a": NOON}
