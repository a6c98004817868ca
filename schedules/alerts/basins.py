"""Basins that pass their line before a clean-out that is begun today would be done."""

from __future__ import annotations

from datetime import datetime, timedelta

from equipment.basins.filling import BasinsView, BasinView, basins_view
from equipment.basins.queries import basins_to_clean
from equipment.site.calc.local_time import local_date_of, resolve
from equipment.site.queries import site_of

from .found import MORNING, Answer, Found
from .models import AlertKind, AnswerCode


def look_for_basins(site_id: int, now: datetime) -> list[Found]:
    """Find them by what was last projected: 2 queries."""
    site = site_of(site_id)
    today = local_date_of(now, site.zone)
    found = []
    for row in basins_to_clean(site_id, today):
        assert row.line_on is not None
        assert row.clean_d is not None
        begin_on = row.line_on - timedelta(days=row.clean_d)
        found.append(
            Found(
                kind=AlertKind.BASIN,
                subject=f"basin-{row.basin_id}",
                place_id=row.basin_id,
                due_at=resolve(datetime.combine(begin_on, MORNING), site.zone),
                facts={"line_on": row.line_on.isoformat(), "clean_d": row.clean_d},
                weight=int(row.line_on <= today),
            )
        )
    return found


def answer_basin(site_id: int, found: Found, now: datetime) -> list[Answer]:
    """Clean it out in the next field window, let it flow elsewhere, or haul: about 14 queries."""
    farm = basins_view(site_id, now)
    view = next((one for one in farm.basins if one.basin.pk == found.place_id), None)
    if view is None:
        return []
    return [*_switch(farm, view), *_clean_out(view), *_haul(view)]


def _switch(farm: BasinsView, view: BasinView) -> list[Answer]:
    other = farm.next_of(view) if view.is_filling else None
    if other is None or other.passes_while_cleaned:
        return []
    level_m = other.reading.depth_m if other.reading else 0.0
    facts = {"basin": other.basin.pk, "level_m": round(level_m, 2)}
    return [Answer(AnswerCode.SWITCH_GATE, facts)]


def _clean_out(view: BasinView) -> list[Answer]:
    plan = view.hauling.plan if view.hauling else None
    if plan is None or plan.begin_on is None or plan.end_on is None:
        return []
    facts = {"begin_on": plan.begin_on.isoformat(), "end_on": plan.end_on.isoformat()}
    return [Answer(AnswerCode.CLEAN_OUT, facts)]


def _haul(view: BasinView) -> list[Answer]:
    if view.hauling is None:
        return []
    hauling = view.hauling
    facts = {
        "volume_m3": round(hauling.volume_m3),
        "n_loads": hauling.n_loads,
        "hours": round(hauling.hours),
    }
    return [Answer(AnswerCode.HAUL, facts)]
