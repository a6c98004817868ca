"""The three documents of a standing order: every fault in one pass, and the minutes they give."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.work.models import Trigger
from schedules.work.rules import check_chain, check_documents, minutes_for

RULES: dict[str, dict[str, Any]] = {
    Trigger.CALENDAR: {
        "rrule": "FREQ=WEEKLY;BYDAY=MO,TH",
        "at_local": "06:00",
        "from_on": "2026-01-01",
        "window_h": 4,
    },
    Trigger.HOURS_SINCE: {"hours": 24, "window_h": 4},
    Trigger.PEN_VISIT: {"within": "usable", "milkings": [1, 3]},
    Trigger.BATCH_STAGE: {
        "stage": "drying",
        "step": "turned",
        "times_per_d": 2,
        "from_local": "09:00",
        "until_local": "17:00",
    },
    Trigger.METER: {"due_within_d": 5},
    Trigger.WEATHER: {"measure": "rain_mm", "at_least": 13, "at_local": "07:00", "window_h": 12},
    Trigger.AFTER: {"standing_order": "groom", "relation": "FINISHTOSTART", "window_min": 30},
}
TARGETS: dict[str, dict[str, Any]] = {Trigger.BATCH_STAGE: {}, Trigger.METER: {}}
PEN = {"kind": "pen"}


def _paths(trigger: str, **documents: Any) -> list[str]:
    usual = {
        "trigger_rule": RULES[trigger],
        "target": TARGETS.get(trigger, PEN),
        "duration": {"base_min": 5},
    }
    return [f.path for f in check_documents(trigger=trigger, **{**usual, **documents})]


@pytest.mark.parametrize("trigger", Trigger.values)
def test_a_plain_rule_of_each_trigger_is_accepted(trigger: str) -> None:
    assert _paths(trigger) == []


@pytest.mark.parametrize("trigger", Trigger.values)
def test_each_key_that_must_be_there_is_missed(trigger: str) -> None:
    assert "trigger_rule" in _paths(trigger, trigger_rule={})[0]
    for key in RULES[trigger]:
        rule = {k: v for k, v in RULES[trigger].items() if k != key}
        faults = _paths(trigger, trigger_rule=rule)
        assert faults == [] if key == "milkings" else faults


@pytest.mark.parametrize("trigger", Trigger.values)
@pytest.mark.parametrize("document", [None, 7, "text", ["a"]])
def test_what_is_no_mapping_is_refused(trigger: str, document: Any) -> None:
    assert _paths(trigger, trigger_rule=document) == ["trigger_rule"]


@pytest.mark.parametrize(
    ("trigger", "key", "value"),
    [
        ("calendar", "at_local", "6:00 am"),
        ("calendar", "at_local", 360),
        ("calendar", "from_on", "1 Jan"),
        ("calendar", "window_h", 0),
        ("calendar", "window_h", True),
        ("calendar", "window_h", float("nan")),
        ("calendar", "rrule", "FREQ=FORTNIGHTLY"),
        ("calendar", "rrule", "FREQ=MONTHLY;BYMONTH=2;BYMONTHDAY=30"),
        ("hours_since", "hours", 0.1),
        ("pen_visit", "within", "sometime"),
        ("pen_visit", "milkings", []),
        ("pen_visit", "milkings", [1, 1]),
        ("pen_visit", "milkings", [0]),
        ("batch_stage", "stage", "wet"),
        ("batch_stage", "times_per_d", 1.5),
        ("batch_stage", "until_local", "08:00"),
        ("meter", "due_within_d", 0),
        ("weather", "measure", "snow_mm"),
        ("weather", "at_least", "much"),
        ("after", "relation", "BEFORE"),
        ("after", "gap_min", -1),
    ],
)
def test_a_value_that_does_not_fit_is_named(trigger: str, key: str, value: Any) -> None:
    rule = {**RULES[trigger], key: value}
    assert _paths(trigger, trigger_rule=rule) == [f"trigger_rule.{key}"]


def test_all_faults_come_in_one_pass_with_reason_and_remedy() -> None:
    faults = check_documents(
        trigger="calendar",
        trigger_rule={"rule": "FREQ=DAILY", "at_local": "25:00", "window_h": 4},
        target={"kind": "meadow"},
        duration={"base_min": -1, "per_cow": 2},
    )
    assert [f.path for f in faults] == [
        "trigger_rule.rule",
        "trigger_rule.at_local",
        "trigger_rule.rrule",
        "trigger_rule.from_on",
        "target.kind",
        "duration.base_min",
        "duration.per_cow",
    ]
    assert all(str(f.reason) and str(f.remedy) for f in faults)
    assert str(faults[0].reason) == "is unknown"
    assert str(faults[0].remedy) == "Known keys: rrule, at_local, from_on, window_h, during."


def test_a_refused_recurrence_names_its_part() -> None:
    rule = {**RULES["calendar"], "rrule": "FREQ=DAILY;BYHOUR=24"}
    [fault] = check_documents(
        trigger="calendar", trigger_rule=rule, target=PEN, duration={"base_min": 1}
    )
    assert str(fault.reason) == "BYHOUR is out of range"


def test_a_batch_step_is_timed_in_exactly_one_way() -> None:
    step = {"stage": "drying", "step": "piled", "window_h": 8}
    assert _paths("batch_stage", trigger_rule={**step, "when": "dry"}) == []
    assert _paths("batch_stage", trigger_rule=step) == ["trigger_rule"]
    both = {**step, "when": "dry", "after_h": 36}
    assert _paths("batch_stage", trigger_rule=both) == ["trigger_rule"]
    without_window = {"stage": "draining", "step": "spread", "after_h": 36}
    assert _paths("batch_stage", trigger_rule=without_window) == ["trigger_rule.window_h"]


def test_before_and_after_a_visit_need_a_length_and_others_have_none() -> None:
    assert _paths("pen_visit", trigger_rule={"within": "before"}) == ["trigger_rule.length_min"]
    assert _paths("pen_visit", trigger_rule={"within": "after", "length_min": 20}) == []
    odd = {"within": "empty", "length_min": 20}
    assert _paths("pen_visit", trigger_rule=odd) == ["trigger_rule.length_min"]


def test_work_of_a_visit_is_where_cows_live() -> None:
    assert _paths("pen_visit", target={"kind": "bay"}) == ["target.kind"]


def test_sand_is_brought_into_a_pen_and_nowhere_else() -> None:
    rule = {"within": "usable", "step": "bedded", "weekdays": ["MO", "SA"]}
    pen, alley = {"kind": "pen"}, {"kind": "alley"}
    assert _paths("pen_visit", trigger_rule=rule, target=pen) == []
    assert _paths("pen_visit", trigger_rule=rule, target=alley) == ["target.kind"]
    wrong = {**rule, "step": "spread", "weekdays": ["MO", "MO"]}
    faults = ["trigger_rule.step", "trigger_rule.weekdays"]
    assert sorted(_paths("pen_visit", trigger_rule=wrong, target=pen)) == faults


def test_a_target_names_places_that_are_there() -> None:
    known = {"pen": {"pen-1"}}
    good = _paths("calendar", target={"kind": "pen", "keys": ["pen-1"]}, known_places=known)
    bad = _paths("calendar", target={"kind": "pen", "keys": ["pen-1", "x"]}, known_places=known)
    assert (good, bad) == ([], ["target.keys"])


def test_only_meter_work_takes_its_minutes_from_the_service_item() -> None:
    duration = {"from_service_item": True}
    assert _paths("meter", duration=duration) == []
    assert _paths("calendar", duration=duration) == ["duration.from_service_item"]
    assert _paths("calendar", duration={}) == ["duration"]


def test_a_largest_gap_below_the_least_is_refused() -> None:
    rule = {**RULES["after"], "gap_min": 30, "gap_max_min": 10}
    assert _paths("after", trigger_rule=rule) == ["trigger_rule.gap_max_min"]


def test_a_chain_names_what_is_there_and_has_an_end() -> None:
    known = {"a", "b", "c", "d"}
    assert list(check_chain({"b": "a", "c": "b"}, known)) == []
    assert [f.path for f in check_chain({"a": "ghost"}, known)] == ["a"]
    assert [f.path for f in check_chain({"a": "b", "b": "a", "c": "a"}, known)] == ["a", "b"]
    assert [f.path for f in check_chain({"d": "d"}, known)] == ["d"]


def test_minutes_add_up_and_people_share_what_grows_with_the_work() -> None:
    # work-catalogue 2a, bed_groom: stalls × m ÷ people + 5; 300 stalls × 0.15 ÷ 2 + 5
    groom = {"base_min": 5, "per_stall_min": 0.15}
    assert minutes_for(groom, n_stalls=300, n_people=2) == pytest.approx(27.5)
    # work-catalogue 2a, scrape_manual: 2 passes × 400 ft ÷ 260 ft/min + 3 ≈ 6 per 400 ft
    scrape = {"base_min": 3, "per_m_min": 2 / (260 * 0.3048)}
    assert minutes_for(scrape, length_m=400 * 0.3048) == pytest.approx(3 + 800 / 260)


def test_a_service_takes_as_long_as_its_item_says() -> None:
    assert minutes_for({"from_service_item": True, "base_min": 10}, service_item_min=180) == 190
    assert minutes_for({"base_min": 10}, service_item_min=180) == 10


def test_no_work_takes_no_time() -> None:
    assert minutes_for({"per_stall_min": 1}) == 1


@given(st.floats(0, 5), st.integers(0, 1000), st.integers(1, 9))
def test_more_people_never_take_longer(rate: float, n_stalls: int, n_people: int) -> None:
    duration = {"base_min": 5, "per_stall_min": rate}
    alone = minutes_for(duration, n_stalls=n_stalls, n_people=n_people)
    assert minutes_for(duration, n_stalls=n_stalls, n_people=n_people + 1) <= alone
