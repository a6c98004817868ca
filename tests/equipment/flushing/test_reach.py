"""Where a run's water goes, and which locks stop it.

The rule, a lock stops every run whose water reaches its place, is the trade's isolation duty put
on a map of drains; common practice, no source for a computed form.
"""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.flushing.calc import (
    Block,
    PlannedRun,
    blocks_of_run,
    water_path,
)

FOUR_AM = datetime(2026, 3, 3, 4, tzinfo=UTC)
DRAINS_TO: dict[str, str | None] = {
    "alley-1": "lane-west",
    "alley-2": "lane-west",
    "alley-3": "lane-east",
    "lane-west": "basin",
    "lane-east": "basin",
    "basin": None,
}


def run_in(alley: str, tank: str = "tank-1") -> PlannedRun[str]:
    return PlannedRun(f"run/{alley}", tank, alley, FOUR_AM, open_s=20, duration_s=260)


RUNS = [run_in("alley-1"), run_in("alley-2"), run_in("alley-3", "tank-2")]


def test_water_runs_from_alley_to_lane_to_basin() -> None:
    assert water_path("alley-1", DRAINS_TO) == ("alley-1", "lane-west", "basin")


def test_water_led_in_a_circle_is_followed_once_round() -> None:
    circle = {"a": "b", "b": "c", "c": "a"}
    assert water_path("b", circle) == ("b", "c", "a")


def test_a_place_that_nobody_mapped_is_refused() -> None:
    with pytest.raises(ValueError, match="nothing says where 'ditch' drains to"):
        water_path("alley-1", {"alley-1": "ditch"})


def test_a_run_occupies_its_tank_while_open_and_all_wet_places_until_drained() -> None:
    closed_at, drained_at = (FOUR_AM + timedelta(seconds=s) for s in (20, 260))
    assert blocks_of_run(RUNS[0], DRAINS_TO) == (
        Block("run/alley-1", "tank-1", FOUR_AM, closed_at),
        Block("run/alley-1", "alley-1", FOUR_AM, drained_at),
        Block("run/alley-1", "lane-west", FOUR_AM, drained_at),
        Block("run/alley-1", "basin", FOUR_AM, drained_at),
    )


@pytest.mark.parametrize(("open_s", "duration_s"), [(0, 60), (61, 60), (20, float("inf"))])
def test_a_run_that_ends_before_its_valve_closes_is_refused(
    open_s: float, duration_s: float
) -> None:
    with pytest.raises(ValueError, match="run r: 0 < open_s <= duration_s"):
        PlannedRun("r", "tank", "alley", FOUR_AM, open_s, duration_s)


@st.composite
def drain_maps(draw: st.DrawFn) -> dict[int, int | None]:
    n_places = draw(st.integers(1, 8))
    ends = st.none() | st.integers(0, n_places - 1)  # circles may happen
    return {place: draw(ends) for place in range(n_places)}


def reaches_by_matrix(drains_to: dict[int, int | None]) -> list[list[bool]]:
    """Warshall's transitive closure: another way to the same answer, for the test alone."""
    n = len(drains_to)
    reach = [[i == j or drains_to[i] == j for j in range(n)] for i in range(n)]
    for k in range(n):
        for i in range(n):
            for j in range(n):
                reach[i][j] = reach[i][j] or (reach[i][k] and reach[k][j])
    return reach


@given(drain_maps())
def test_exactly_the_places_below_are_on_the_waters_way(drains_to: dict[int, int | None]) -> None:
    reach = reaches_by_matrix(drains_to)
    for place in drains_to:
        below = {other for other in drains_to if reach[place][other]}
        assert set(water_path(place, drains_to)) == below
