"""What each lane should catch of the farm's sand: for ranking and trend, never for tonnes."""

from __future__ import annotations

from dataclasses import dataclass

from equipment.flushing.calc import water_path
from equipment.flushing.queries import read_timers
from equipment.flushing.water import load_water_ways
from equipment.sandyard.calc import Caught, Gradation, LaneFlow, captured, named_gradation
from equipment.sandyard.models import Lane, SandPractice

from .services import practice_of

COLD_DEGC, WARM_DEGC = 5.0, 25.0  # between which a year's water is shown


@dataclass(frozen=True, slots=True)
class LaneCapture:
    """A lane by the largest flow that one valve lets into it."""

    lane: Lane
    flow: LaneFlow
    caught: Caught
    cold: Caught
    warm: Caught


def lane_captures(site_id: int) -> list[LaneCapture]:
    """Every lane whose length and width the farm gave and into which a flush runs: 7 queries."""
    flows = _largest_flows(site_id)
    lanes = Lane.objects.filter(site_id=site_id, place__retired_at=None).select_related("place")
    sand = gradation_of(practice_of(site_id))
    return [
        _capture(lane, flows[lane.pk], sand)
        for lane in lanes.order_by("pk")
        if lane.length_m and lane.width_m and lane.pk in flows
    ]


def gradation_of(practice: SandPractice) -> Gradation:
    """The farm's own sieve analysis, else the middle of its sand's band."""
    if practice.passing_frac:
        return Gradation(tuple(practice.passing_frac))
    return named_gradation(practice.sand_kind)


def _capture(lane: Lane, flow_m3_s: float, sand: Gradation) -> LaneCapture:
    flow = LaneFlow(flow_m3_s, lane.length_m or 0, lane.width_m or 0, lane.slope_frac)
    caught, cold, warm = (
        captured(flow, sand, water_degc=degc) for degc in (lane.water_degc, COLD_DEGC, WARM_DEGC)
    )
    return LaneCapture(lane, flow, caught, cold, warm)


def _largest_flows(site_id: int) -> dict[int, float]:
    """The largest valve's flow by every place its water comes to."""
    ways = load_water_ways(site_id)
    flows: dict[int, float] = {}
    for timer in read_timers(site_id):
        for place_id in water_path(timer.alley_id, ways.drains_to):
            flows[place_id] = max(flows.get(place_id, 0.0), timer.flow_m3_s)
    return flows
