"""Where places lie on a drawn map, from their coordinates and sizes: pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from equipment.site.models import PlaceKind

OFF_THE_MAP = (PlaceKind.SITE, PlaceKind.FIELD)  # as large as the map, or far beyond it
USUAL_M: Mapping[str, tuple[float, float]] = {  # of what has no size on record [m]
    PlaceKind.PARLOR: (40, 40),
    PlaceKind.BED_GROUP: (40, 4),
    PlaceKind.ALLEY: (40, 4),
    PlaceKind.TANK: (12, 12),
    PlaceKind.LANE: (60, 6),
    PlaceKind.SLAB: (20, 20),
    PlaceKind.BAY: (20, 20),
    PlaceKind.PILE_PLACE: (20, 20),
    PlaceKind.BASIN: (60, 20),
    PlaceKind.SHOP: (24, 16),
    PlaceKind.YARD: (30, 20),
}
OF_PARTS = (PlaceKind.PEN, PlaceKind.PAD)  # drawn about what lies in them
BELOW = (*OF_PARTS, PlaceKind.YARD)
MARGIN_M = 4.0


@dataclass(frozen=True, slots=True)
class Spot:
    """A place: its middle east and north of the site's own point, and its size. [m]

    `within` is the place that is drawn about it, None where there is none.
    """

    pk: int
    kind: str
    x_m: float
    y_m: float
    within: int | None = None
    size_m: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Box:
    """What is drawn of a place: west and south edge, width and height. [m]"""

    pk: int
    kind: str
    x_m: float
    y_m: float
    w_m: float
    h_m: float


def lay_out(spots: Sequence[Spot]) -> list[Box]:
    """Give the boxes of all places on the map, what lies below first.

    Which way a place's longer side runs is not on record: all of a kind lie the way in which they
    cover each other least, east to west where both do alike; and one alone the other way where it
    then covers less.
    """
    flat = [spot for spot in spots if spot.kind not in (*OFF_THE_MAP, *OF_PARTS)]
    boxes = []
    for kind in dict.fromkeys(spot.kind for spot in flat):
        of_kind = [spot for spot in flat if spot.kind == kind]
        along, across = ([_box(spot, is_turned=t) for spot in of_kind] for t in (False, True))
        boxes += _turned_singly(along, across)
    parts = {spot.pk: spot.within for spot in flat}
    abouts = [_about(s, boxes, parts) for s in spots if s.kind in OF_PARTS]
    return sorted([*abouts, *boxes], key=lambda box: box.kind not in BELOW)


def _turned_singly(along: list[Box], across: list[Box]) -> list[Box]:
    best, other = (list(boxes) for boxes in sorted((along, across), key=covered_m2))
    while covered := covered_m2(best):
        by_size = sorted(range(len(other)), key=lambda n: -other[n].w_m * other[n].h_m)
        tried = [[*best[:n], other[n], *best[n + 1 :]] for n in by_size]
        better = min(tried, key=covered_m2)
        if covered_m2(better) >= covered:
            break
        best = better
    return best


def covered_m2(boxes: Sequence[Box]) -> float:
    """How much boxes cover of each other. [m2]"""
    return sum(
        max(0.0, min(a.x_m + a.w_m, b.x_m + b.w_m) - max(a.x_m, b.x_m))
        * max(0.0, min(a.y_m + a.h_m, b.y_m + b.h_m) - max(a.y_m, b.y_m))
        for a, b in combinations(boxes, 2)
    )


def _box(spot: Spot, *, is_turned: bool) -> Box:
    length, width = spot.size_m or USUAL_M.get(spot.kind, (10, 10))
    w, h = (width, length) if is_turned else (length, width)
    return Box(spot.pk, spot.kind, spot.x_m - w / 2, spot.y_m - h / 2, w, h)


def _about(spot: Spot, boxes: Sequence[Box], parts: Mapping[int, int | None]) -> Box:
    """Draw a place about what lies in it; by itself where nothing does."""
    inner = [box for box in boxes if parts[box.pk] == spot.pk] or [
        _box(replace(spot, size_m=(30, 20)), is_turned=False)
    ]
    west, south = min(b.x_m for b in inner), min(b.y_m for b in inner)
    east, north = max(b.x_m + b.w_m for b in inner), max(b.y_m + b.h_m for b in inner)
    w, h = east - west + 2 * MARGIN_M, north - south + 2 * MARGIN_M
    return Box(spot.pk, spot.kind, west - MARGIN_M, south - MARGIN_M, w, h)
