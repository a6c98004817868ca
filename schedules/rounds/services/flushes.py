"""Flush runs follow the visits."""

from datetime import datetime

from equipment.flushing.services import FlushCounts, plan_flush_runs
from schedules.rounds.queries import flush_visits


def plan_flushes(site_id: int, start_at: datetime, end_at: datetime, at: datetime) -> FlushCounts:
    """Plan the flush runs of a span anew, with all visits that reach into it."""
    return plan_flush_runs(
        site_id=site_id,
        start=start_at,
        end=end_at,
        visits=flush_visits(site_id, start_at, end_at),
        at=at,
    )
