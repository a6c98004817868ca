"""Where clocks change, found by looking at the clock: an oracle that shares no code with ours.

It only ever asks a zone what its clock shows at an instant, which is never in doubt; it never asks
what instant a wall time means, which is the question under test.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache, cached_property
from zoneinfo import ZoneInfo, available_timezones

MINUTE = timedelta(minutes=1)
WEEK = timedelta(days=7)
FIRST = datetime(2024, 1, 1, tzinfo=UTC)
LAST = datetime(2035, 1, 1, tzinfo=UTC)


def wall(text: str) -> datetime:
    """A wall time, naive on purpose."""
    return datetime.fromisoformat(text)


def clock(instant: datetime, zone: ZoneInfo) -> datetime:
    """What the wall clock shows."""
    return instant.astimezone(zone).replace(tzinfo=None, fold=0)


@dataclass(frozen=True)
class Transition:
    """The first minute under the new offset."""

    zone: ZoneInfo
    at: datetime

    @property
    def jump(self) -> timedelta:
        """How far the clock jumps beyond the minute that passes: positive is a gap."""
        before = clock(self.at - MINUTE, self.zone)
        return clock(self.at, self.zone) - before - MINUTE

    @cached_property
    def _first_shown_at(self) -> dict[datetime, datetime]:
        start = self.at - timedelta(hours=4)
        minutes = [start + n * MINUTE for n in range(8 * 60)]
        return {clock(instant, self.zone): instant for instant in reversed(minutes)}

    @cached_property
    def _ends(self) -> tuple[datetime, datetime]:
        return min(self._first_shown_at), max(self._first_shown_at)

    def means(self, wall: datetime) -> datetime:
        """The instant of a wall time within days of the change, off the clock's own minutes."""
        shown = self._first_shown_at
        first, last = self._ends
        if wall < first:
            return shown[first] - (first - wall)
        if wall > last:
            return shown[last] + (wall - last)
        return shown[wall] if wall in shown else shown[wall + self.jump]


def _change_within(zone: ZoneInfo, low: datetime, high: datetime) -> datetime:
    old = low.astimezone(zone).utcoffset()
    while high - low > MINUTE:
        middle = low + ((high - low) // 2 // MINUTE) * MINUTE
        if middle.astimezone(zone).utcoffset() == old:
            low = middle
        else:
            high = middle
    return high


def transitions_of(zone: ZoneInfo) -> Iterator[Transition]:
    """Every change of the clock in the years 2024 to 2034."""
    low = FIRST
    while low < LAST:
        high = low + WEEK
        if low.astimezone(zone).utcoffset() != high.astimezone(zone).utcoffset():
            yield Transition(zone, _change_within(zone, low, high))
        low = high


@cache
def all_transitions() -> list[Transition]:
    """Every change of the clock in every zone."""
    zones = [ZoneInfo(name) for name in sorted(available_timezones())]
    return [transition for zone in zones for transition in transitions_of(zone)]


def distinct(transitions: list[Transition]) -> list[Transition]:
    """One of all that change from and to the same clock at the same instant."""
    seen = {(t.at, t.jump, clock(t.at, t.zone)): t for t in transitions}
    return list(seen.values())
