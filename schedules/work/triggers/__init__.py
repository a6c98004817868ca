"""What each trigger wants: drafts of work from the facts of the farm."""

from collections.abc import Callable, Iterable, Iterator

from schedules.work.calc.drafts import Draft
from schedules.work.facts import Facts
from schedules.work.models import StandingOrder, Trigger

from .batches import draft_batch_stage
from .clock import draft_calendar, draft_hours_since, draft_weather
from .visits import draft_pen_visit

DRAFT: dict[str, Callable[[StandingOrder, Facts], Iterable[Draft]]] = {
    Trigger.CALENDAR: draft_calendar,
    Trigger.HOURS_SINCE: draft_hours_since,
    Trigger.PEN_VISIT: draft_pen_visit,
    Trigger.BATCH_STAGE: draft_batch_stage,
    Trigger.WEATHER: draft_weather,
}


def draft_all(orders: Iterable[StandingOrder], facts: Facts) -> Iterator[Draft]:
    """Give the drafts of all standing orders that do not follow another."""
    for order in orders:
        yield from DRAFT[order.trigger](order, facts)
