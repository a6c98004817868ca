"""Wall time to instant, against tables from the time zone data and a clock-reading oracle."""

from datetime import UTC, date, datetime, time, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.site.calc.local_time import (
    day_bounds,
    elapsed_h,
    local_date_of,
    local_of,
    parse_instant,
    require_naive,
    resolve,
    wall_span,
    zone_named,
)
from equipment.site.calc.refusal import RefusedValueError
from tests.equipment.site.transitions import (
    MINUTE,
    Transition,
    all_transitions,
    clock,
    distinct,
    wall,
)

DENVER = ZoneInfo("America/Denver")
CHICAGO = ZoneInfo("America/Chicago")

# Daylight saving changes of the two zones, from the IANA time zone database, release 2026f, rules
# "US" (file northamerica): second Sunday in March, first Sunday in November, 02:00 local.
GAPS = [
    (DENVER, date(2026, 3, 8), "2026-03-08T09:00Z"),
    (DENVER, date(2027, 3, 14), "2027-03-14T09:00Z"),
    (CHICAGO, date(2026, 3, 8), "2026-03-08T08:00Z"),
    (CHICAGO, date(2027, 3, 14), "2027-03-14T08:00Z"),
]
FOLDS = [
    (DENVER, date(2026, 11, 1), "2026-11-01T08:00Z"),
    (DENVER, date(2027, 11, 7), "2027-11-07T08:00Z"),
    (CHICAGO, date(2026, 11, 1), "2026-11-01T07:00Z"),
    (CHICAGO, date(2027, 11, 7), "2027-11-07T07:00Z"),
]


@pytest.fixture(scope="module")
def transitions() -> list[Transition]:
    return all_transitions()


def at(day: date, hour: int, minute: int = 0) -> datetime:
    return datetime.combine(day, time(hour, minute))


@pytest.mark.trade_check("10")
@pytest.mark.parametrize(("zone", "day", "change"), GAPS)
def test_a_wall_time_in_the_spring_gap_is_shifted_forward_by_the_gap(
    zone: ZoneInfo, day: date, change: str
) -> None:
    starts = parse_instant(change)
    assert resolve(at(day, 2), zone) == starts
    assert resolve(at(day, 2, 30), zone) == starts + timedelta(minutes=30)
    assert local_of(resolve(at(day, 2, 30), zone), zone) == at(day, 3, 30)


@pytest.mark.trade_check("10")
@pytest.mark.parametrize(("zone", "day", "change"), FOLDS)
def test_a_wall_time_in_the_autumn_fold_means_the_first_pass(
    zone: ZoneInfo, day: date, change: str
) -> None:
    ends = parse_instant(change)
    assert resolve(at(day, 1, 30), zone) == ends - timedelta(minutes=30)
    assert resolve(at(day, 1, 30).replace(fold=1), zone) == ends - timedelta(minutes=30)
    assert resolve(at(day, 2), zone) == ends + timedelta(hours=1)


@pytest.mark.trade_check("10")
@pytest.mark.parametrize(("zone", "day", "change"), GAPS)
def test_the_night_shift_over_the_spring_gap_lasts_seven_hours(
    zone: ZoneInfo, day: date, change: str
) -> None:
    start, end = wall_span(at(day - timedelta(days=1), 22), timedelta(hours=8), zone)
    assert start < parse_instant(change) < end
    assert elapsed_h(start, end) == 7.0
    assert local_of(end, zone) == at(day, 6)


@pytest.mark.trade_check("10")
@pytest.mark.parametrize(("zone", "day", "change"), FOLDS)
def test_the_night_shift_over_the_autumn_fold_lasts_nine_hours(
    zone: ZoneInfo, day: date, change: str
) -> None:
    start, end = wall_span(at(day - timedelta(days=1), 22), timedelta(hours=8), zone)
    assert start < parse_instant(change) < end
    assert elapsed_h(start, end) == 9.0


def test_a_day_has_23_24_or_25_hours() -> None:
    days = [date(2026, 3, 8), date(2026, 3, 9), date(2026, 11, 1)]
    assert [elapsed_h(*day_bounds(day, DENVER)) for day in days] == [23.0, 24.0, 25.0]


def test_a_day_that_a_zone_skipped_has_no_hours() -> None:
    # Samoa went from 29 to 31 December 2011: IANA time zone database, Zone Pacific/Apia
    assert elapsed_h(*day_bounds(date(2011, 12, 30), ZoneInfo("Pacific/Apia"))) == 0.0


def test_elapsed_hours_count_real_time_where_plain_subtraction_counts_the_clock() -> None:
    start = datetime(2026, 3, 7, 22, tzinfo=DENVER)
    end = datetime(2026, 3, 8, 6, tzinfo=DENVER)
    assert end - start == timedelta(hours=8)
    assert elapsed_h(start, end) == 7.0


def test_two_zones_change_an_hour_apart() -> None:
    moment = parse_instant("2026-03-08T08:30Z")
    assert local_of(moment, DENVER) == wall("2026-03-08 01:30")
    assert local_of(moment, CHICAGO) == wall("2026-03-08 03:30")
    autumn = parse_instant("2026-11-01T07:30Z")
    assert local_of(autumn, DENVER) == local_of(autumn, CHICAGO) == wall("2026-11-01 01:30")


def test_wall_times_around_every_change_of_every_zone_mean_what_the_clock_showed(
    transitions: list[Transition],
) -> None:
    assert len(distinct(transitions)) > 500
    for change in distinct(transitions):
        first = clock(change.at, change.zone) - abs(change.jump) - timedelta(minutes=10)
        for step in range(0, 2 * int(abs(change.jump) / MINUTE) + 20, 5):
            local = first + step * MINUTE
            assert resolve(local, change.zone) == change.means(local), (change, local)


def test_local_days_of_every_change_meet_without_hole_or_overlap(
    transitions: list[Transition],
) -> None:
    for change in distinct(transitions):
        day = local_date_of(change.at, change.zone)
        start, end = day_bounds(day, change.zone)
        assert (clock(start, change.zone).date(), clock(end, change.zone).date()) == (
            day,
            day + timedelta(days=1),
        )
        assert clock(start - MINUTE, change.zone).date() < day
        assert clock(end - MINUTE, change.zone).date() == day


@given(
    hours=st.integers(1, 14),
    start=st.datetimes(wall("2026-01-01 00:00"), wall("2027-12-31 00:00")),
)
def test_a_span_by_the_clock_never_ends_before_it_starts(hours: int, start: datetime) -> None:
    begins, ends = wall_span(start, timedelta(minutes=7 * hours), DENVER)
    assert begins < ends


def test_a_short_span_inside_the_gap_keeps_its_length() -> None:
    start, end = wall_span(wall("2026-03-08 02:30"), timedelta(minutes=45), DENVER)
    assert end - start == timedelta(minutes=45)


def test_a_span_without_length_is_refused() -> None:
    with pytest.raises(RefusedValueError, match="not_positive"):
        wall_span(wall("2026-03-08 02:30"), timedelta(0), DENVER)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # RFC 3339 section 5.8, examples 1, 2 and 5
        ("1985-04-12T23:20:50.52Z", datetime(1985, 4, 12, 23, 20, 50, 520000, tzinfo=UTC)),
        ("1996-12-19T16:39:57-08:00", datetime(1996, 12, 20, 0, 39, 57, tzinfo=UTC)),
        (
            "1937-01-01T12:00:27.87+00:20",
            datetime(1937, 1, 1, 12, 0, 27, 870000, timezone(timedelta(minutes=20))),
        ),
        (" 2026-11-01T01:30:00-07:00 ", datetime(2026, 11, 1, 8, 30, tzinfo=UTC)),
    ],
)
def test_a_time_with_its_offset_is_read(text: str, expected: datetime) -> None:
    assert parse_instant(text) == expected
    assert parse_instant(text).tzinfo is UTC


def test_every_gap_and_fold_written_without_offset_is_refused(
    transitions: list[Transition],
) -> None:
    assert len({change.zone for change in transitions}) >= 60  # R10 asks for 60 zones
    for change in transitions:
        local = clock(change.at, change.zone) - change.jump / 2
        with pytest.raises(RefusedValueError) as refused:
            parse_instant(local.isoformat())
        assert refused.value.code == "no_offset"


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("2026-03-08", "no_offset"),
        ("tomorrow", "not_an_instant"),
        ("", "not_an_instant"),
        ("2026-02-30T10:00Z", "not_an_instant"),
        ("0001-01-01T00:00+23:00", "out_of_range"),
        ("9999-12-31T23:59-10:00", "out_of_range"),
    ],
)
def test_what_is_no_instant_is_refused_by_code(text: str, code: str) -> None:
    with pytest.raises(RefusedValueError) as refused:
        parse_instant(text)
    assert (refused.value.code, refused.value.part) == (code, "instant")


@pytest.mark.parametrize("name", ["", "America", "Denver", "../etc/passwd", "America/Nowhere"])
def test_an_unknown_zone_is_refused(name: str) -> None:
    with pytest.raises(RefusedValueError, match="unknown_zone"):
        zone_named(name)


def test_a_known_zone_is_returned() -> None:
    assert zone_named("America/Denver") == DENVER


def test_a_wall_time_with_an_offset_is_refused() -> None:
    with pytest.raises(RefusedValueError, match="has_offset"):
        require_naive(datetime(2026, 1, 1, tzinfo=UTC))


def test_an_instant_without_an_offset_is_refused() -> None:
    with pytest.raises(RefusedValueError, match="no_offset"):
        local_of(wall("2026-01-01 00:00"), DENVER)
