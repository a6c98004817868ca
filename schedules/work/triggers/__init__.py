"""What each trigger wants: drafts of work from the facts of the farm."""

from collections.abc import Callable, Iterable, Iterator

from schedules.work.calc.drafts import Draft
from schedules.work.facts import Facts
from schedules.work.models import StandingOrder, Trigger

from .batches import chain_steps, draft_batch_stage
from .clock import draft_calendar, draft_hours_since, draft_weather
from .meters import draft_meter
from .visits import draft_pen_visit

DRAFT: dict[str, Callable[[StandingOrder, Facts], Iterable[Draft]]] = {
    Trigger.CALENDAR: draft_calendar,
    Trigger.HOURS_SINCE: draft_hours_since,
    Trigger.PEN_VISIT: draft_pen_visit,
    Trigger.METER: draft_meter,
    Trigger.WEATHER: draft_weather,
}


def draft_all(orders: Iterable[StandingOrder], facts: Facts) -> Iterator[Draft]:
    """Give the drafts of all standing orders that do not follow another."""
    of_batches = []
    for order in orders:
        if order.trigger == Trigger.BATCH_STAGE:
            of_batches.append(order)
        else:
            yield from DRAFT[order.trigger](order, facts)
    yield from chain_steps(d for order in of_batches for d in draft_batch_stage(order, facts))
