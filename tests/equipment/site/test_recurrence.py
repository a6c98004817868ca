"""Calendar rules against RFC 5545's own examples, a clock-reading oracle and plain dateutil."""

from collections.abc import Callable, Iterable
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from itertools import groupby
from zoneinfo import ZoneInfo

import pytest
from dateutil import rrule
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from equipment.site.calc.local_time import local_of, parse_instant
from equipment.site.calc.recurrence import (
    CalendarRule,
    ElapsedDue,
    Occurrence,
    elapsed_dues,
    occurrences,
)
from equipment.site.calc.refusal import RefusedValueError
from tests.equipment.site.transitions import Transition, all_transitions, clock, wall

DENVER = ZoneInfo("America/Denver")
NEW_YORK = ZoneInfo("America/New_York")


def local_days(rule: CalendarRule, years: int = 4) -> str:
    """All instances from the start of the rule, as "month-day" of the local clock."""
    start = rule.start_local.replace(tzinfo=UTC) - timedelta(days=1)
    found = occurrences(rule, start, start + timedelta(days=366 * years))
    return " ".join(f"{local_of(o.at, rule.zone):%m-%d}" for o in found)


# RFC 5545 section 3.8.5.3: the expansions that the RFC prints, shortened by COUNT where its list is
# longer; DTSTART 09:00 America/New_York. Of the rows marked (lib) the RFC's own list was not at
# hand: they were computed by python-dateutil 2.9.0.
PUBLISHED = [
    (
        "FREQ=DAILY;COUNT=10",
        "1997-09-02",
        "09-02 09-03 09-04 09-05 09-06 09-07 09-08 09-09 09-10 09-11",
    ),
    ("FREQ=DAILY;INTERVAL=10;COUNT=5", "1997-09-02", "09-02 09-12 09-22 10-02 10-12"),
    (
        "FREQ=WEEKLY;COUNT=10",
        "1997-09-02",
        "09-02 09-09 09-16 09-23 09-30 10-07 10-14 10-21 10-28 11-04",
    ),
    (  # (lib)
        "FREQ=WEEKLY;INTERVAL=2;COUNT=8;WKST=SU;BYDAY=TU,TH",
        "1997-09-02",
        "09-02 09-04 09-16 09-18 09-30 10-02 10-14 10-16",
    ),
    (  # (lib)
        "FREQ=MONTHLY;COUNT=10;BYDAY=1FR",
        "1997-09-05",
        "09-05 10-03 11-07 12-05 01-02 02-06 03-06 04-03 05-01 06-05",
    ),
    (  # (lib)
        "FREQ=MONTHLY;COUNT=6;BYDAY=-2MO",
        "1997-09-22",
        "09-22 10-20 11-17 12-22 01-19 02-16",
    ),
    (  # (lib)
        "FREQ=MONTHLY;COUNT=3;BYDAY=TU,WE,TH;BYSETPOS=3",
        "1997-09-04",
        "09-04 10-07 11-06",
    ),
    (
        "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO",
        "1997-08-05",
        "08-05 08-10 08-19 08-24",
    ),
    (
        "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU",
        "1997-08-05",
        "08-05 08-17 08-19 08-31",
    ),
    ("FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5", "2007-01-15", "01-15 01-30 02-15 03-15 03-30"),
]


@pytest.mark.trade_check("10")
@pytest.mark.parametrize(("text", "start", "expected"), PUBLISHED)
def test_a_rule_gives_the_days_that_the_standard_prints(
    text: str, start: str, expected: str
) -> None:
    rule = CalendarRule(text, wall(f"{start} 09:00"), NEW_YORK)
    assert local_days(rule) == expected


@pytest.mark.trade_check("10")
def test_until_in_utc_ends_a_daily_rule_that_stays_at_nine_over_the_clock_change() -> None:
    # RFC 5545 section 3.8.5.3, "Daily until December 24, 1997"
    rule = CalendarRule("FREQ=DAILY;UNTIL=19971224T000000Z", wall("1997-09-02 09:00"), NEW_YORK)
    found = occurrences(rule, datetime(1997, 1, 1, tzinfo=UTC), datetime(1998, 12, 1, tzinfo=UTC))
    assert (found[0].local_date, found[-1].local_date) == (date(1997, 9, 2), date(1997, 12, 23))
    assert len(found) == 113
    assert {local_of(o.at, NEW_YORK).time() for o in found} == {time(9)}
    assert {o.at.hour for o in found} == {13, 14}


@pytest.mark.trade_check("10")
def test_every_friday_the_thirteenth_without_the_excluded_start() -> None:
    # RFC 5545 section 3.8.5.3, "Every Friday the 13th, forever", DTSTART excluded
    start = wall("1997-09-02 09:00")
    rule = CalendarRule("FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13", start, NEW_YORK, (start,))
    assert local_days(rule).split()[:5] == ["02-13", "03-13", "11-13", "08-13", "10-13"]


@pytest.mark.trade_check("10")
def test_every_ninety_minutes_four_times() -> None:
    # RFC 5545 section 3.8.5.3, "Every hour and a half for 4 occurrences"
    rule = CalendarRule("FREQ=MINUTELY;INTERVAL=90;COUNT=4", wall("1997-09-02 09:00"), NEW_YORK)
    found = occurrences(rule, datetime(1997, 9, 1, tzinfo=UTC), datetime(1997, 9, 9, tzinfo=UTC))
    shown = [f"{local_of(o.at, NEW_YORK):%H:%M}" for o in found]
    assert shown == ["09:00", "10:30", "12:00", "13:30"]
    assert [o.slot for o in found] == [0, 1, 2, 3]


@pytest.mark.trade_check("10", "T12")
def test_an_instance_in_the_spring_gap_is_shifted_and_counted() -> None:
    # zone data 2026f: Denver skips 02:00 to 03:00 on 8 March 2026. RFC 5545 section 3.3.10 would
    # drop the instance and not count it; the house rule keeps it.
    rule = CalendarRule("FREQ=DAILY;COUNT=3", wall("2026-03-07 02:30"), DENVER)
    found = occurrences(rule, datetime(2026, 3, 1, tzinfo=UTC), datetime(2026, 4, 1, tzinfo=UTC))
    assert found == [
        Occurrence(date(2026, 3, 7), 0, parse_instant("2026-03-07T09:30Z")),
        Occurrence(date(2026, 3, 8), 0, parse_instant("2026-03-08T09:30Z")),
        Occurrence(date(2026, 3, 9), 0, parse_instant("2026-03-09T08:30Z")),
    ]


def test_an_instance_in_the_autumn_fold_comes_once_at_the_first_pass() -> None:
    rule = CalendarRule("FREQ=DAILY", wall("2026-10-30 01:30"), DENVER)
    found = occurrences(
        rule, parse_instant("2026-11-01T06:00Z"), parse_instant("2026-11-02T06:00Z")
    )
    assert found == [Occurrence(date(2026, 11, 1), 0, parse_instant("2026-11-01T07:30Z"))]


def test_an_instance_that_the_gap_pushes_past_midnight_keeps_its_date() -> None:
    # zone data 2026f: Nuuk skips 23:00 to 24:00 on Saturday 28 March 2026, at 01:00 UTC on Sunday
    rule = CalendarRule("FREQ=DAILY", wall("2026-03-01 23:30"), ZoneInfo("America/Nuuk"))
    sunday = parse_instant("2026-03-29T00:00-01:00")
    assert occurrences(rule, sunday, sunday + timedelta(hours=20)) == [
        Occurrence(date(2026, 3, 28), 0, sunday + timedelta(minutes=30))
    ]


# Twelve rule shapes, each with the same rule said in plain code: which wall times of a 15-minute
# grid it names. DTSTART is Monday 1 January 2024, 00:15.
START = wall("2024-01-01 00:15")
Fits = Callable[[datetime], bool]


def days_since_start(at: datetime) -> int:
    return (at.date() - START.date()).days


def minutes_since_start(at: datetime) -> int:
    return int((at - START).total_seconds() // 60)


SHAPES: dict[str, Fits] = {
    "FREQ=DAILY": lambda t: t.time() == time(0, 15),
    "FREQ=DAILY;BYHOUR=0,1,2,3;BYMINUTE=30": lambda t: t.hour < 4 and t.minute == 30,
    "FREQ=DAILY;BYHOUR=0,23;BYMINUTE=0,45": lambda t: t.hour in (0, 23) and t.minute in (0, 45),
    "FREQ=DAILY;INTERVAL=3;BYHOUR=2;BYMINUTE=0": lambda t: (
        days_since_start(t) % 3 == 0 and t.time() == time(2)
    ),
    "FREQ=WEEKLY;BYDAY=FR,SA,SU;BYHOUR=1,2;BYMINUTE=15": lambda t: (
        t.weekday() >= 4 and t.hour in (1, 2) and t.minute == 15
    ),
    "FREQ=WEEKLY;INTERVAL=2;BYDAY=SU,MO;BYHOUR=2;BYMINUTE=30": lambda t: (
        days_since_start(t) // 7 % 2 == 0 and t.weekday() in (0, 6) and t.time() == time(2, 30)
    ),
    "FREQ=MONTHLY;BYDAY=-1SU;BYHOUR=2;BYMINUTE=45": lambda t: (
        t.weekday() == 6 and (t + timedelta(days=7)).month != t.month and t.time() == time(2, 45)
    ),
    "FREQ=MONTHLY;BYDAY=1SU,2SU;BYHOUR=1;BYMINUTE=0": lambda t: (
        t.weekday() == 6 and t.day <= 14 and t.time() == time(1)
    ),
    "FREQ=YEARLY;BYMONTH=3,4,10,11;BYDAY=SU;BYHOUR=2;BYMINUTE=15": lambda t: (
        t.month in (3, 4, 10, 11) and t.weekday() == 6 and t.time() == time(2, 15)
    ),
    "FREQ=HOURLY": lambda t: t.minute == 15,
    "FREQ=HOURLY;INTERVAL=5;BYMINUTE=0,30": lambda t: (
        int((t.replace(minute=0) - START.replace(minute=0)).total_seconds() // 3600) % 5 == 0
        and t.minute in (0, 30)
    ),
    "FREQ=MINUTELY;INTERVAL=45": lambda t: minutes_since_start(t) % 45 == 0,
}


@cache
def named_walls(text: str, first_day: date) -> tuple[datetime, ...]:
    """The wall times that a shape names on three days, by its plain code."""
    first = datetime.combine(first_day, time.min)
    grid = [first + n * timedelta(minutes=15) for n in range(3 * 24 * 4)]
    return tuple(at for at in grid if at >= START and SHAPES[text](at))


def expected_around(text: str, change: Transition) -> list[Occurrence]:
    first_day = clock(change.at, change.zone).date() - timedelta(days=1)
    found = [
        Occurrence(day, slot, change.means(at))
        for day, walls in groupby(named_walls(text, first_day), key=datetime.date)
        for slot, at in enumerate(walls)
    ]
    return sorted(found, key=lambda o: (o.at, o.local_date, o.slot))


def test_twelve_shapes_over_every_kind_of_clock_change_lose_and_double_nothing() -> None:
    rules = cache(lambda text, zone: CalendarRule(text, START, zone))
    # zones whose clocks change alike on the wall (Denver and Chicago) are tried once
    changes = {(clock(t.at, t.zone), t.jump): t for t in all_transitions()}
    assert len(changes) > 150
    for change in changes.values():
        middle = datetime.combine(clock(change.at, change.zone).date(), time.min)
        after = change.means(middle - timedelta(days=1))
        before = change.means(middle + timedelta(days=2))
        for text in SHAPES:
            found = occurrences(rules(text, change.zone), after, before)
            assert found == expected_around(text, change), (text, change)


WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")


def some(
    values: Iterable[object], min_size: int, max_size: int | None = None
) -> st.SearchStrategy[str]:
    item = st.sampled_from(list(values))
    lists = st.lists(item, unique=True, min_size=min_size, max_size=max_size)
    return lists.map(lambda items: ",".join(str(item) for item in items))


@st.composite
def rules(draw: st.DrawFn) -> str:
    """Any rule but those that python-dateutil reads otherwise than the RFC: BYDAY with and without
    ordinals at once, and BYSETPOS in the week that DTSTART cuts short."""
    freq = draw(st.sampled_from(["YEARLY", "MONTHLY", "WEEKLY", "DAILY", "HOURLY", "MINUTELY"]))
    parts = {"FREQ": freq, "INTERVAL": str(draw(st.integers(95 if freq == "MINUTELY" else 1, 99)))}
    sub_daily = freq in ("HOURLY", "MINUTELY")
    ordinals = [f"{n}{day}" for n in (-2, -1, 1, 2, 5) for day in WEEKDAYS]
    choices = {
        "BYMONTH": some(range(1, 13), min_size=4),
        "BYHOUR": some(range(24), min_size=1, max_size=3),
        "BYDAY": some(WEEKDAYS, min_size=1),
        "WKST": st.sampled_from(WEEKDAYS),
    }
    if freq not in ("MINUTELY",):
        choices["BYMINUTE"] = some(range(60), min_size=1, max_size=2)
    if freq != "WEEKLY":
        choices["BYMONTHDAY"] = some([*range(1, 32), *range(-31, 0)], min_size=6)
    if freq in ("YEARLY", "MONTHLY"):
        choices["BYDAY"] = st.one_of(choices["BYDAY"], some(ordinals, min_size=1))
    if freq == "YEARLY" or sub_daily:
        choices["BYYEARDAY"] = some([*range(1, 367), *range(-366, 0)], min_size=40)
    for name in draw(st.lists(st.sampled_from(sorted(choices)), unique=True)):
        parts[name] = draw(choices[name])
    if freq == "YEARLY" and not any(c.isdigit() for c in parts.get("BYDAY", "1")):
        parts["BYWEEKNO"] = draw(some([*range(1, 54), *range(-53, 0)], min_size=9))
    if not sub_daily and any(name.startswith("BY") for name in parts) and draw(st.booleans()):
        parts["BYSETPOS"] = draw(some([-3, -2, -1, 1, 2, 3], min_size=1))
    return ";".join(f"{name}={value}" for name, value in parts.items())


def first_by_dateutil(text: str, start: datetime) -> datetime | None:
    """The first instance in 400 years, after which the calendar repeats; None where none is."""
    try:
        return rrule.rrulestr(text, dtstart=start).after(start - timedelta(days=1))
    except ValueError:
        return None  # it sees itself that BYHOUR never meets the interval


@settings(max_examples=120)
@given(
    text=rules(),
    start=st.datetimes(wall("2019-01-01"), wall("2025-12-20")).map(
        lambda at: at.replace(second=0, microsecond=0)
    ),
    days_in=st.integers(0, 500),
)
def test_a_rule_that_began_long_ago_gives_what_walking_it_from_its_start_gives(
    text: str, start: datetime, days_in: int
) -> None:
    low = wall("2026-01-01") + timedelta(days=days_in)
    high = low + timedelta(days=60)
    try:
        rule = CalendarRule(text, start, ZoneInfo("Etc/UTC"))
    except RefusedValueError as refused:
        assume(refused.code == "never_occurs")
        rule = None
    if rule is None:
        assert first_by_dateutil(text, start) is None
        return
    walked = rrule.rrulestr(text, dtstart=start).between(low, high - timedelta(seconds=1), inc=True)
    found = occurrences(rule, low.replace(tzinfo=UTC), high.replace(tzinfo=UTC))
    assert [o.at.replace(tzinfo=None) for o in found] == walked


def test_a_first_week_cut_short_by_the_way_we_expand_misleads_no_set_position() -> None:
    # by the calendar: 6 June 2026 is a Saturday; the first of Monday and Saturday is the Monday
    text = "FREQ=WEEKLY;BYDAY=MO,SA;BYSETPOS=1"
    rule = CalendarRule(text, wall("2020-01-02 06:00"), DENVER)
    saturday = parse_instant("2026-06-06T06:00Z")
    found = occurrences(rule, saturday, saturday + timedelta(days=14))
    assert [o.local_date.day for o in found] == [8, 15]


@given(cut=st.integers(0, 14 * 24))
def test_windows_that_meet_give_each_instance_once(cut: int) -> None:
    rule = CalendarRule("FREQ=HOURLY;INTERVAL=5", wall("2026-10-01 00:00"), DENVER)
    start = parse_instant("2026-10-25T06:00Z")
    middle, end = start + timedelta(hours=cut), start + timedelta(days=14)
    whole = occurrences(rule, start, end)
    assert occurrences(rule, start, middle) + occurrences(rule, middle, end) == whole


def test_excluding_an_instance_renames_no_other() -> None:
    text, start = "FREQ=DAILY;BYHOUR=5,13,21", wall("2026-06-01 05:00")
    day = parse_instant("2026-06-02T06:00Z"), parse_instant("2026-06-03T06:00Z")
    every = occurrences(CalendarRule(text, start, DENVER), *day)
    holed = occurrences(CalendarRule(text, start, DENVER, (wall("2026-06-02 13:00"),)), *day)
    assert [o.slot for o in every] == [0, 1, 2]
    assert holed == [every[0], every[2]]


def test_excluding_a_date_leaves_out_the_whole_day() -> None:
    rule = CalendarRule(
        "FREQ=DAILY;BYHOUR=5,13", wall("2026-12-24 05:00"), DENVER, (date(2026, 12, 25),)
    )
    assert local_days(rule, years=1).split()[:4] == ["12-24", "12-24", "12-26", "12-26"]


@pytest.mark.parametrize(
    ("until", "last"),
    [
        ("20260604", "06-04"),
        ("20260604T130000", "06-04"),
        ("20260604T125900", "06-03"),
        ("20260604T190000Z", "06-04"),
        ("20260604T185900Z", "06-03"),
    ],
)
def test_until_means_the_day_the_wall_time_or_the_instant_it_is_written_as(
    until: str, last: str
) -> None:
    rule = CalendarRule(f"FREQ=DAILY;UNTIL={until}", wall("2026-06-01 13:00"), DENVER)
    assert local_days(rule, years=1).split()[-1] == last


@pytest.mark.parametrize(
    ("text", "part", "code"),
    [
        ("", "RRULE", "unknown_part"),
        ("FREQ", "FREQ", "unknown_part"),
        ("BYDAY=MO", "FREQ", "missing"),
        ("FREQ=SECONDLY", "FREQ", "not_a_value"),
        ("FREQ=DAILY;FREQ=DAILY", "FREQ", "doubled"),
        ("FREQ=DAILY;BYSECOND=0", "BYSECOND", "unknown_part"),
        ("FREQ=DAILY;BYEASTER=0", "BYEASTER", "unknown_part"),
        ("FREQ=DAILY;INTERVAL=0", "INTERVAL", "out_of_range"),
        ("FREQ=DAILY;INTERVAL=-1", "INTERVAL", "out_of_range"),
        ("FREQ=DAILY;INTERVAL=two", "INTERVAL", "not_a_value"),
        ("FREQ=DAILY;COUNT=10001", "COUNT", "out_of_range"),
        ("FREQ=DAILY;COUNT=3;UNTIL=20270101", "UNTIL", "not_together"),
        ("FREQ=DAILY;UNTIL=2027-01-01", "UNTIL", "not_a_value"),
        ("FREQ=DAILY;UNTIL=20270230", "UNTIL", "not_a_value"),
        ("FREQ=DAILY;UNTIL=99991231", "UNTIL", "out_of_range"),
        ("FREQ=DAILY;UNTIL=20251231", "UNTIL", "never_occurs"),
        ("FREQ=DAILY;BYHOUR=24", "BYHOUR", "out_of_range"),
        ("FREQ=DAILY;BYHOUR=-1", "BYHOUR", "out_of_range"),
        ("FREQ=DAILY;BYHOUR=", "BYHOUR", "not_a_value"),
        ("FREQ=DAILY;BYHOUR=6;BYMINUTE=60", "BYMINUTE", "out_of_range"),
        ("FREQ=MONTHLY;BYMONTHDAY=0", "BYMONTHDAY", "out_of_range"),
        ("FREQ=MONTHLY;BYMONTHDAY=32", "BYMONTHDAY", "out_of_range"),
        ("FREQ=WEEKLY;BYMONTHDAY=1", "BYMONTHDAY", "not_together"),
        ("FREQ=MONTHLY;BYYEARDAY=1", "BYYEARDAY", "not_together"),
        ("FREQ=MONTHLY;BYWEEKNO=1;BYDAY=MO", "BYWEEKNO", "not_together"),
        ("FREQ=YEARLY;BYWEEKNO=20", "BYDAY", "missing"),
        ("FREQ=WEEKLY;BYDAY=2MO", "BYDAY", "not_together"),
        ("FREQ=YEARLY;BYWEEKNO=20;BYDAY=2MO", "BYDAY", "not_together"),
        ("FREQ=MONTHLY;BYDAY=6MO", "BYDAY", "out_of_range"),
        ("FREQ=MONTHLY;BYDAY=0MO", "BYDAY", "out_of_range"),
        ("FREQ=WEEKLY;BYDAY=MON", "BYDAY", "not_a_value"),
        ("FREQ=WEEKLY;WKST=1", "WKST", "not_a_value"),
        ("FREQ=MONTHLY;BYSETPOS=1", "BYSETPOS", "missing"),
        ("FREQ=HOURLY;BYMINUTE=0;BYSETPOS=1", "BYSETPOS", "not_together"),
        ("FREQ=MINUTELY;INTERVAL=4", "FREQ", "too_often"),
        ("FREQ=HOURLY;BYMINUTE=0,5,10,15,20,25,30,35,40,45,50,55,58", "FREQ", "too_often"),
        ("FREQ=MINUTELY;INTERVAL=30;BYMINUTE=0", "BYMINUTE", "not_together"),
        ("FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30", "RRULE", "never_occurs"),
        ("FREQ=DAILY;INTERVAL=7;BYDAY=TU", "RRULE", "never_occurs"),
        ("FREQ=HOURLY;INTERVAL=6;BYHOUR=5", "RRULE", "never_occurs"),
        ("FREQ=DAILY\nDTSTART:20260105T060000", "FREQ", "not_a_value"),
    ],
)
def test_a_bad_rule_is_refused_by_its_part(text: str, part: str, code: str) -> None:
    with pytest.raises(RefusedValueError) as refused:
        CalendarRule(text, wall("2026-01-05 06:00"), DENVER)
    assert (refused.value.part, refused.value.code) == (part, code)


@pytest.mark.parametrize(
    ("start", "code"),
    [
        (wall("2026-01-05 06:00").replace(tzinfo=UTC), "has_offset"),
        (wall("2026-01-05 06:00:01"), "not_whole_minute"),
        (wall("1899-12-31 06:00"), "out_of_range"),
    ],
)
def test_a_bad_start_is_refused(start: datetime, code: str) -> None:
    with pytest.raises(RefusedValueError) as refused:
        CalendarRule("FREQ=DAILY", start, DENVER)
    assert (refused.value.part, refused.value.code) == ("DTSTART", code)


def test_a_rule_may_carry_its_property_name_and_small_letters() -> None:
    rule = CalendarRule("RRULE:freq=weekly;byday=mo", wall("2026-01-05 06:00"), DENVER)
    assert rule.parts.freq == "WEEKLY"


def test_hours_since_last_done_pass_over_the_clock_change_unstretched() -> None:
    done = parse_instant("2026-03-08T06:00Z")
    dues = elapsed_dues(
        every_h=6, last_done_at=done, n_done=4, now=done, before=done + timedelta(hours=13)
    )
    assert dues == [
        ElapsedDue(5, done + timedelta(hours=6)),
        ElapsedDue(6, done + timedelta(hours=12)),
    ]
    # Denver goes from 23:00 to 06:00 by the clock in those six hours: zone data 2026f
    assert [f"{local_of(due.at, DENVER):%H}" for due in dues] == ["06", "12"]


def test_an_overdue_turn_is_never_left_out_and_the_next_count_from_now() -> None:
    done, now = parse_instant("2026-03-01T06:00Z"), parse_instant("2026-03-03T06:00Z")
    dues = elapsed_dues(
        every_h=12, last_done_at=done, n_done=0, now=now, before=now + timedelta(hours=13)
    )
    assert dues == [
        ElapsedDue(1, done + timedelta(hours=12)),
        ElapsedDue(2, now + timedelta(hours=12)),
    ]


@pytest.mark.parametrize(
    ("every_h", "n_done"), [(0, 0), (-1, 0), (0.1, 0), (float("nan"), 0), (4, -1)]
)
def test_impossible_hours_are_refused(every_h: float, n_done: int) -> None:
    now = parse_instant("2026-03-01T06:00Z")
    with pytest.raises(RefusedValueError, match="out_of_range"):
        elapsed_dues(every_h=every_h, last_done_at=now, n_done=n_done, now=now, before=now)
