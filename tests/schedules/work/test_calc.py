"""Windows, lateness and what reports add up to: without a database, in milliseconds."""

from collections.abc import Sequence
from datetime import date, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.work.calc.drafts import Draft, Late, origin_key, rest_key, settle_late
from schedules.work.calc.reports import Said, Word, add_up, still_said, with_load
from schedules.work.calc.spans import (
    SHORTEST,
    Leader,
    Span,
    at_least,
    day_spans,
    extend,
    follower_span,
    lasting,
)
from tests.factories import utc

T0 = utc("2026-03-04 12:00")
MINUTES = st.integers(-60, 60)
DENVER = ZoneInfo("America/Denver")


def _at(minutes: float) -> Span:
    return Span(T0 + timedelta(minutes=minutes), T0 + timedelta(minutes=minutes + 60))


# --- spans


def test_a_window_that_never_opens_lasts_a_minute() -> None:
    assert at_least(T0, T0 - timedelta(hours=1)) == Span(T0, T0 + SHORTEST)
    assert lasting(T0, h=0) == Span(T0, T0 + SHORTEST)
    assert lasting(T0, h=1, minutes=30).length == timedelta(minutes=90)


def test_a_day_is_shared_out_in_equal_parts_that_meet() -> None:
    spans = day_spans(date(2026, 3, 4), 3, time(9), time(18), DENVER)
    assert [s.start for s in spans] == [utc(f"2026-03-04 {hour}:00") for hour in (16, 19, 22)]
    assert [s.end for s in spans[:-1]] == [s.start for s in spans[1:]]
    assert spans[-1].end == utc("2026-03-05 01:00")


def test_a_day_of_the_spring_night_loses_its_hour_in_one_part() -> None:
    """8 March 2026: 02:00 is 03:00 in Denver (Energy Policy Act of 2005, section 110)."""
    first, second = day_spans(date(2026, 3, 8), 2, time(0), time(4), DENVER)
    assert first.length + second.length == timedelta(hours=3)


@given(st.integers(-10_000, 10_000))
def test_a_late_window_is_extended_past_now_by_whole_lengths(minutes: int) -> None:
    now = T0 + timedelta(minutes=minutes)
    span = _at(0)
    longer = extend(span, now)
    assert longer.end > now
    assert (longer.end - span.end) % span.length == timedelta(0)
    assert longer.end - now <= span.length or longer == span


@pytest.mark.parametrize(
    ("relation", "starts", "ends"),
    [
        ("FINISHTOSTART", 30, 120),
        ("STARTTOSTART", 10, 100),
        ("FINISHTOFINISH", 0, 120),
        ("STARTTOFINISH", 0, 100),
    ],
)
def test_each_relation_bounds_the_follower_before_anything_happened(
    relation: str, starts: int, ends: int
) -> None:
    """RFC 9253 section 5. The first takes 20 of its 60 minutes; gap 10, window 50."""
    span = follower_span(Leader(_at(0), 20), relation, gap_min=10, window_min=50)
    minutes = [(t - T0) / timedelta(minutes=1) for t in (span.start, span.end)]
    assert minutes == [starts, ends]


@pytest.mark.parametrize(
    ("relation", "starts", "ends"),
    [
        ("FINISHTOSTART", 43, 93),
        ("STARTTOSTART", 15, 65),
        ("FINISHTOFINISH", 5, 93),
        ("STARTTOFINISH", 5, 65),
    ],
)
def test_each_relation_is_timed_by_what_happened(relation: str, starts: int, ends: int) -> None:
    leader = Leader(_at(0), 20, T0 + timedelta(minutes=5), T0 + timedelta(minutes=33))
    span = follower_span(leader, relation, gap_min=10, window_min=50)
    minutes = [(t - T0) / timedelta(minutes=1) for t in (span.start, span.end)]
    assert minutes == [starts, ends]


# --- late drafts


def _draft(minutes: float, late: Late, series: str = "a") -> Draft:
    return Draft(f"{series}/{minutes}", series, 1, T0.date(), _at(minutes), late)


def test_of_a_series_done_late_the_newest_alone_stays_due() -> None:
    drafts = [_draft(m, Late.EXTEND) for m in (-300, -200, -100, 200)]
    settled = settle_late([*drafts, _draft(-300, Late.EXTEND, "b")], T0)
    assert [d.is_missed for d in settled] == [True, True, False, False, False]
    assert settled[2].span.end > T0


@pytest.mark.parametrize(
    ("late", "after_min", "missed"),
    [
        (Late.MISS, -1, False),
        (Late.MISS, 0, True),
        (Late.EXPIRE, 29, False),
        (Late.EXPIRE, 30, True),
    ],
)
def test_what_is_not_done_late_is_missed(late: Late, after_min: float, missed: bool) -> None:
    [settled] = settle_late([_draft(-60 - after_min, late)], T0)
    assert settled.is_missed == missed


def test_keys_of_rests_count_up_and_lead_back() -> None:
    key = "groom/beds-1/2026-03-04/1"
    assert rest_key(rest_key(key)) == f"{key}/rest-2"
    assert origin_key(f"{key}/rest-2") == origin_key(key) == key


# --- reports

ANA, BEN = 1, 2


def _words(*said: tuple[str, int]) -> list[Word]:
    return [Word(Said(s), by, T0 + timedelta(minutes=i)) for i, (s, by) in enumerate(said)]


def _kinds(words: Sequence[Word]) -> list[str]:
    return [word.said.value for word in words]


def test_an_undo_takes_out_the_same_persons_newest_word() -> None:
    words = _words(("started", ANA), ("done", ANA), ("done", BEN), ("undone", ANA))
    assert [(w.said, w.by_id) for w in still_said(words)] == [("started", ANA), ("done", BEN)]
    again = [*words, *_words(("undone", ANA), ("undone", ANA))]
    assert _kinds(still_said(again)) == ["done"]


def test_what_was_dismissed_never_counts_again() -> None:
    words = _words(("done", ANA), ("dismissed", BEN), ("started", ANA), ("accepted", BEN))
    assert _kinds(still_said(words)) == ["started"]


def test_the_first_ending_counts_and_the_earliest_start() -> None:
    words = _words(("done", ANA), ("could_not", BEN), ("load", BEN))
    early = Word(Said.STARTED, BEN, T0 - timedelta(minutes=5))
    standing = add_up([*words, early])
    assert (standing.end, standing.start, standing.n_loads) == (words[0], early, 1)


def test_nothing_said_is_nothing() -> None:
    assert add_up([]) == add_up(_words(("done", ANA), ("undone", ANA)))


@given(st.lists(st.tuples(st.sampled_from(["started", "done", "load", "undone"]), st.just(ANA))))
def test_as_many_undos_as_words_leave_nothing(said: list[tuple[str, int]]) -> None:
    words = _words(*said)
    undos = _words(*[("undone", ANA)] * len(still_said(words)))
    assert still_said([*words, *undos]) == []


@given(
    st.lists(st.tuples(st.sampled_from(list(Said)), st.sampled_from([ANA, BEN]), MINUTES)),
    st.lists(st.tuples(st.just(Said.LOAD), st.sampled_from([ANA, BEN]), MINUTES), max_size=4),
)
def test_a_load_more_comes_to_what_all_words_come_to(
    before: list[tuple[Said, int, int]], loads: list[tuple[Said, int, int]]
) -> None:
    words = [Word(said, who, T0 + timedelta(minutes=at)) for said, who, at in before]
    standing = add_up(words)
    for said, who, at in loads:
        words.append(Word(said, who, T0 + timedelta(minutes=at)))
        standing = with_load(standing, words[-1])
        assert standing == add_up(words)
