"""Ten thousand calendar rules over 14 days with a gap, a fold and exceptions, against dateutil."""

import random
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from dateutil import rrule

from equipment.site.calc.recurrence import CalendarRule, occurrences
from tests.benchmarks import reference_recurrence
from tests.benchmarks.cases import Case

N_RULES, SEED = 10_000, 20261125
# Northern clocks fall back on 25 October (Berlin) and 1 November 2026 (Denver, Chicago); southern
# ones had sprung forward on 4 October (Lord Howe, by half an hour): its window begins there.
WINDOWS = {
    "America/Denver": date(2026, 10, 24),
    "America/Chicago": date(2026, 10, 24),
    "Europe/Berlin": date(2026, 10, 24),
    "Australia/Lord_Howe": date(2026, 9, 26),
    "America/Santiago": date(2026, 8, 29),
}
DAYS = timedelta(days=13)
WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")

RuleFacts = tuple[str, datetime, ZoneInfo, tuple[date, ...], date]


def make_rules(n_rules: int = N_RULES) -> list[RuleFacts]:
    """Draw rules as farms write them: mostly daily and weekly, some monthly, some hourly."""
    rng = random.Random(SEED)
    return [_rule(rng, *rng.choice(list(WINDOWS.items()))) for _ in range(n_rules)]


def _rule(rng: random.Random, zone: str, first_day: date) -> RuleFacts:
    kind = rng.choices(("DAILY", "WEEKLY", "MONTHLY", "HOURLY"), (5, 3, 1, 1))[0]
    hours = ",".join(map(str, sorted(rng.sample(range(24), rng.randint(1, 3)))))
    clock = f";BYHOUR={hours};BYMINUTE={rng.choice((0, 15, 30, 45))}"
    text = {
        "DAILY": f"FREQ=DAILY;INTERVAL={rng.choice((1, 1, 2, 3))}{clock}",
        "WEEKLY": f"FREQ=WEEKLY;BYDAY={','.join(rng.sample(WEEKDAYS, rng.randint(1, 4)))}{clock}",
        "MONTHLY": f"FREQ=MONTHLY;BYMONTHDAY={rng.randint(1, 28)},-1{clock}",
        "HOURLY": f"FREQ=HOURLY;INTERVAL={rng.choice((2, 3, 4, 6))}",
    }[kind]
    start = datetime.combine(first_day - timedelta(days=42), time(rng.randrange(24), 30))
    gone = tuple(first_day + timedelta(days=rng.randrange(14)) for _ in range(rng.randrange(3)))
    return text, start, ZoneInfo(zone), gone, first_day


def ours(rules: list[CalendarRule], spans: list[tuple[datetime, datetime]]) -> list[set[datetime]]:
    return [
        {o.at for o in occurrences(rule, *span)} for rule, span in zip(rules, spans, strict=True)
    ]


def reference(
    parsed: list[rrule.rrule | rrule.rruleset], facts: list[RuleFacts]
) -> list[set[datetime]]:
    return [
        set(reference_recurrence.expand(rule, zone, gone, first, first + DAYS))
        for rule, (_, _, zone, gone, first) in zip(parsed, facts, strict=True)
    ]


def cases() -> list[Case]:
    facts = make_rules()
    rules = [CalendarRule(text, start, zone, gone) for text, start, zone, gone, _ in facts]
    spans = [_span(zone, first) for _, _, zone, _, first in facts]
    parsed = [rrule.rrulestr(text, dtstart=start) for text, start, *_ in facts]
    if ours(rules, spans) != reference(parsed, facts):
        raise AssertionError("the two give different sets")
    return [
        Case(
            name=f"recurrence, {N_RULES} rules x 14 days / python-dateutil",
            ours=lambda: ours(rules, spans),
            reference=lambda: reference(parsed, facts),
            at_most=0.25,
            reference_file=Path(reference_recurrence.__file__),
            rounds=3,
        )
    ]


def _span(zone: ZoneInfo, first_day: date) -> tuple[datetime, datetime]:
    ends = (first_day, first_day + DAYS + timedelta(days=1))
    low, high = (datetime.combine(d, time.min).replace(tzinfo=zone).astimezone(UTC) for d in ends)
    return low, high
