"""Ways from place to place, by hand."""

import numpy as np
import pytest

from schedules.dayplan.calc.resources import Place, Road
from schedules.dayplan.calc.ways import NO_WAY_M, ways_of

from .tiny import a_day

# As in `tiny`: barn (0, 0), field (800, 0), lot (0, 400), bay (0, 0).
STRAIGHT_M = (
    (0, 800, 400, 0),
    (800, 0, np.sqrt(800**2 + 400**2), 800),
    (400, np.sqrt(800**2 + 400**2), 0, 400),
    (0, 800, 400, 0),
)


def test_straight_lines_are_longer_by_the_detour() -> None:
    ways = ways_of(a_day(detour_factor=1.25))

    np.testing.assert_allclose(ways.people_m, 1.25 * np.array(STRAIGHT_M))
    np.testing.assert_allclose(ways.machines_m, ways.people_m)


def test_a_given_matrix_is_taken_as_it_is() -> None:
    given = tuple(tuple(float(10 * i + j) for j in range(4)) for i in range(4))
    ways = ways_of(a_day(ways_m=given, roads=(Road("barn", "lot", 7),)))

    assert ways.people_m.tolist() == [list(row) for row in given]
    assert ways.machines_m.tolist() == ways.people_m.tolist()


def test_the_shortest_way_along_roads_counts() -> None:
    """barn - lot 500 and lot - field 900 are shorter than the road of 1500 from barn to field."""
    roads = (
        Road("barn", "lot", 500),
        Road("lot", "barn", 600),
        Road("lot", "field", 900),
        Road("barn", "field", 1500),
    )
    way_m = ways_of(a_day(roads=roads)).people_m

    assert way_m[0].tolist() == [0, 1400, 500, 0]
    assert way_m[1].tolist() == [1400, 0, 900, 800]


def test_a_road_of_no_length_is_a_road() -> None:
    roads = (Road("barn", "lot", 0), Road("lot", "field", 900))

    assert ways_of(a_day(roads=roads)).people_m[0, 1] == 900


def test_a_one_way_road_leads_back_only_by_the_others() -> None:
    roads = (
        Road("barn", "lot", 500, is_one_way=True),
        Road("lot", "field", 900),
        Road("field", "barn", 1000, is_one_way=True),
    )
    way_m = ways_of(a_day(roads=roads)).people_m

    assert (way_m[0, 2], way_m[2, 0]) == (500, 1900)


def test_roads_that_lead_only_there_leave_no_way_back() -> None:
    way_m = ways_of(a_day(roads=(Road("barn", "lot", 500, is_one_way=True),))).people_m

    assert (way_m[0, 2], way_m[2, 0]) == (500, NO_WAY_M)


@pytest.mark.parametrize(
    ("closed_to", "people_m", "machines_m"),
    [("is_for_people", 700, 500), ("is_for_machines", 500, 700)],
)
def test_who_may_not_use_a_road_goes_round(
    closed_to: str, people_m: float, machines_m: float
) -> None:
    roads = (Road("barn", "lot", 500, **{closed_to: False}), Road("barn", "lot", 700))
    ways = ways_of(a_day(roads=roads))

    assert (ways.people_m[0, 2], ways.machines_m[0, 2]) == (people_m, machines_m)


def test_a_footpath_is_no_way_for_a_machine() -> None:
    roads = (Road("barn", "lot", 500, is_for_machines=False),)
    ways = ways_of(a_day(roads=roads))

    assert (ways.people_m[2, 0], ways.machines_m[2, 0]) == (500, NO_WAY_M)


def test_a_place_off_the_roads_is_reached_straight() -> None:
    islet = Place("islet", 0, 30)
    ways = ways_of(a_day(islet, roads=(Road("barn", "lot", 500),), detour_factor=1.5))

    assert ways.people_m[0, 4] == 45
    assert ways.machines_m[4, 0] == 45
