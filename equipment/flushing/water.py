"""Where the water of each valve runs, and which lock stands in its way."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass

from equipment.barns.models import Alley, BedGroup
from equipment.site.looks import once_a_look
from equipment.site.models import Place

from . import calc
from .models import FlushTimer, Lock


@dataclass(frozen=True, slots=True)
class WaterWays:
    """The farm's places as water sees them, all by place id.

    `alleys_at` says which alleys a person works in who is at a pen or at a row of beds.
    """

    drains_to: dict[int, int | None]
    alleys_at: dict[int, set[int]]
    alleys_of_tank: dict[int, set[int]]

    def reached(self, place_id: int) -> list[int]:
        """All places that water let loose at a place comes to, itself left out."""
        if place_id not in self.drains_to:
            return []
        alleys = self.alleys_at.get(place_id, set()) | self.alleys_of_tank.get(place_id, set())
        ways = [calc.water_path(start, self.drains_to) for start in (*sorted(alleys), place_id)]
        return list(dict.fromkeys(step for way in ways for step in way if step != place_id))

    def path_of(self, timer: FlushTimer) -> set[int]:
        """Every place that a timer's water touches, from the tank on."""
        return {timer.tank_id, *calc.water_path(timer.alley_id, self.drains_to)}

    def exposed_at(self, place_id: int) -> set[int]:
        """Where water would meet a person who locked a place."""
        return {place_id} | self.alleys_at.get(place_id, set())

    def lock_in_way(self, timer: FlushTimer, locks: Iterable[Lock]) -> Lock | None:
        """The first of some locks that a timer's water would reach."""
        path = self.path_of(timer)
        return next((lock for lock in locks if self.exposed_at(lock.place_id) & path), None)

    def is_isolated(
        self, place_id: int, locks: Collection[Lock], timers: Iterable[FlushTimer]
    ) -> bool:
        """Whether locks stop every timer whose water would meet a person at a place.

        Where no timer's water comes, one lock on it, or on what drains to it, does.
        """
        exposed = self.exposed_at(place_id)
        coming = [timer for timer in timers if exposed & self.path_of(timer)]
        if coming:
            return all(self.lock_in_way(timer, locks) for timer in coming)
        return any(exposed & self._held_back(lock.place_id) for lock in locks)

    def _held_back(self, place_id: int) -> set[int]:
        return self.exposed_at(place_id) | set(self.reached(place_id))


@once_a_look
def load_water_ways(site_id: int) -> WaterWays:
    """The whole site's: 4 queries."""
    alleys_at: dict[int, set[int]] = defaultdict(set)
    for alley_id, pen_id in Alley.objects.filter(site_id=site_id).values_list("pk", "pen_id"):
        if pen_id is not None:
            alleys_at[pen_id].add(alley_id)
    rows = BedGroup.objects.filter(site_id=site_id).values_list("pk", "pen_id", "alley_id")
    for group_id, pen_id, alley_id in rows:
        # Which alley serves the row may be unknown: then all of the pen's count.
        alleys_at[group_id] = {alley_id} if alley_id else set(alleys_at[pen_id])
    alleys_of_tank: dict[int, set[int]] = defaultdict(set)
    timers = FlushTimer.objects.filter(site_id=site_id, retired_at=None)
    for tank_id, alley_id in timers.values_list("tank_id", "alley_id"):
        alleys_of_tank[tank_id].add(alley_id)
    drains = Place.objects.filter(site_id=site_id).values_list("pk", "drains_to_id")
    return WaterWays(dict(drains), dict(alleys_at), dict(alleys_of_tank))
