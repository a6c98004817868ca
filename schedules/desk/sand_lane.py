"""Sand lane: what comes back as measured, and what physics says of a trend."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.sandyard.calc import (
    natural_grain_velocity_m_s,
    overflow_rate_m_s,
    sphere_velocity_m_s,
    stokes_is_valid,
    stokes_velocity_m_s,
)
from schedules.sand.lane_capture import COLD_DEGC, WARM_DEGC, LaneCapture, lane_captures
from schedules.sand.recovery import Recovery, recovery_of
from schedules.sand.services import practice_of

from .base import Desk


@dataclass(frozen=True, slots=True)
class GrainLine:
    """One size of grain: how fast it falls, and what the lane should do with it."""

    grain: str
    share: str
    natural: str
    sphere: str
    stokes: str
    is_stokes_valid: bool
    captured: str
    is_scoured: bool


@dataclass(frozen=True, slots=True)
class LaneLine:
    """One lane."""

    name: str
    finding: str
    seasons: str
    grains: list[GrainLine]


def lane_context(desk: Desk) -> dict[str, Any]:
    """Put the page together: about 8 queries."""
    practice = practice_of(desk.site_id)
    return {
        "recovery": _say_recovery(recovery_of(desk.site_id, desk.now), practice.recovery_frac),
        "lanes": [_lane(desk, capture) for capture in lane_captures(desk.site_id)],
        "sand_kind": practice.get_sand_kind_display(),
        "is_own_sieving": bool(practice.passing_frac),
    }


def _say_recovery(found: Recovery, setting_frac: float) -> str:
    if not found.is_measured:
        words = _("Recovery %(pct).0f %% ± %(sd).0f %%: the farm's setting. Fewer than four weeks "
                  "of loads are on the books.")  # fmt: skip
        return words % {"pct": 100 * found.frac, "sd": 100 * found.sd_frac}
    words = ngettext(
        "Recovery %(pct).0f %% ± %(sd).0f %% by the loads of %(n)d week; one week lies "
        "%(spread).0f %% from another. The farm's setting is %(own).0f %%.",
        "Recovery %(pct).0f %% ± %(sd).0f %% by the loads of %(n)d weeks; one week lies "
        "%(spread).0f %% from another. The farm's setting is %(own).0f %%.",
        found.n,
    )
    facts = {"pct": found.frac, "sd": found.sd_frac, "spread": found.spread_frac}
    shown = {name: 100 * frac for name, frac in (facts | {"own": setting_frac}).items()}
    return words % {**shown, "n": found.n}


def _lane(desk: Desk, capture: LaneCapture) -> LaneLine:
    flow, caught = capture.flow, capture.caught
    words = _("Ideal basin: %(total).0f %% settles, %(kept).0f %% is not taken up again by water "
              "of %(velocity)s (overflow rate %(rate).1f mm/s).")  # fmt: skip
    finding = words % {
        "total": 100 * caught.total_frac,
        "kept": 100 * caught.kept_frac,
        "velocity": desk.amount(flow.velocity_m_s, "velocity_m_s", "ft/s", 1),
        "rate": 1000 * overflow_rate_m_s(flow),
    }
    seasons = _("Water of %(cold)s: %(less).1f %% settles; of %(warm)s: %(more).1f %%.") % {
        "cold": desk.amount(COLD_DEGC, "water_degc"),
        "less": 100 * capture.cold.total_frac,
        "warm": desk.amount(WARM_DEGC, "water_degc"),
        "more": 100 * capture.warm.total_frac,
    }
    return LaneLine(desk.place(capture.lane.place), finding, seasons, _grains(capture))


def _grains(capture: LaneCapture) -> list[GrainLine]:
    caught, degc = capture.caught, capture.lane.water_degc
    return [
        _grain(float(grain_m), float(share), float(frac), bool(scoured), degc)
        for grain_m, share, frac, scoured in zip(
            caught.grain_m, caught.share_frac, caught.captured_frac, caught.is_scoured, strict=True
        )
    ]


def _grain(
    grain_m: float, share_frac: float, captured_frac: float, is_scoured: bool, degc: float
) -> GrainLine:
    return GrainLine(
        grain=f"{1000 * grain_m:,.2f} mm",
        share=f"{100 * share_frac:,.1f} %",
        natural=_mm_s(natural_grain_velocity_m_s(grain_m, water_degc=degc)),
        sphere=_mm_s(sphere_velocity_m_s(grain_m, water_degc=degc)),
        stokes=_mm_s(stokes_velocity_m_s(grain_m, water_degc=degc)),
        is_stokes_valid=bool(stokes_is_valid(grain_m, water_degc=degc)),
        captured=f"{100 * captured_frac:,.0f} %",
        is_scoured=is_scoured,
    )


def _mm_s(velocity_m_s: Any) -> str:
    return f"{1000 * float(velocity_m_s):,.1f} mm/s"
