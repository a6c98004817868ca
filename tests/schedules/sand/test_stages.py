"""A batch's life: every stage meets every event, and each illegal move has its own word."""

from dataclasses import replace
from datetime import date
from itertools import product
from typing import Any

import pytest

from schedules.sand.calc.stages import (
    HOLD_STOPS,
    MOVES,
    BatchEvent,
    BatchFacts,
    BatchStage,
    Refusal,
    refusal,
    stage_after,
)
from schedules.sand.models import Stage

E, S, R = BatchEvent, BatchStage, Refusal
READY_ON = date(2026, 11, 1)
CURING = BatchFacts(S.CURING, is_pile_closed=True, ready_on=READY_ON, today_on=READY_ON)


def test_stages_are_those_that_are_stored() -> None:
    assert [str(stage) for stage in S] == list(Stage.values)


def test_a_whole_life_from_lane_to_bed() -> None:
    facts = BatchFacts(None)
    life: list[tuple[BatchEvent, BatchStage, dict[str, Any]]] = [
        (E.SCOOPED, S.DRAINING, {}),
        (E.SCOOPED, S.DRAINING, {}),
        (E.SPREAD, S.DRYING, {}),
        (E.TURNED, S.DRYING, {}),
        (E.MOISTURE_TEST, S.DRYING, {}),
        (E.PICKED_UP, S.DRYING, {"is_picked_up": True}),
        (E.PILED, S.CURING, {}),
        (E.PILE_CLOSED, S.CURING, {"is_pile_closed": True, "ready_on": READY_ON}),
        (E.CURED, S.CURED, {}),
        (E.RELEASED, S.RELEASED, {}),
        (E.BEDDED, S.RELEASED, {}),
    ]
    facts = replace(facts, today_on=READY_ON)
    for event, stage, learned in life:
        assert refusal(event, facts) is None, event
        assert stage_after(event, facts.stage) is stage
        facts = replace(facts, stage=stage, **learned)
    assert stage_after(E.BEDDED, facts.stage, is_empty_after=True) is S.BEDDED


def test_bought_sand_comes_cured_and_is_released_like_any_other() -> None:
    assert stage_after(E.DELIVERED, None) is S.CURED
    assert stage_after(E.RELEASED, S.CURED) is S.RELEASED


def test_a_pile_is_a_batch_that_begins_curing() -> None:
    assert stage_after(E.PILED, None) is S.CURING


# Every illegal pair, so that a change of the table must be meant; "-" is allowed
ORDER = list(BatchEvent)
TABLE = {
    None: "- - not_begun not_begun not_begun not_begun - " + "not_begun " * 6,
    S.DRAINING: "- already_begun - not_drying - not_drying not_drying not_in_a_pile not_in_a_pile "
    "not_cured not_released - not_held",
    S.DRYING: "not_draining already_begun not_draining - - - not_picked_up not_in_a_pile "
    "not_in_a_pile not_cured not_released - not_held",
    S.CURING: "not_draining already_begun not_draining not_drying - not_drying - - pile_open "
    "not_cured not_released - not_held",
    S.CURED: "not_draining already_begun not_draining not_drying - not_drying not_drying "
    "not_in_a_pile not_in_a_pile - not_released - not_held",
    S.RELEASED: "not_draining already_begun not_draining not_drying - not_drying not_drying "
    "not_in_a_pile not_in_a_pile not_cured - - not_held",
    S.BEDDED: "finished " * 13,
}


@pytest.mark.parametrize("stage", [None, *BatchStage])
def test_every_event_on_every_stage(stage: BatchStage | None) -> None:
    answers = [str(refusal(event, BatchFacts(stage)) or "-") for event in ORDER]
    assert answers == TABLE[stage].split()


@pytest.mark.parametrize(("stage", "event"), list(product([None, *BatchStage], BatchEvent)))
def test_no_timer_or_meter_moves_anything(stage: BatchStage | None, event: BatchEvent) -> None:
    assert refusal(event, BatchFacts(stage, by_person=False)) is R.NOT_A_PERSON


def test_cured_waits_for_the_close_and_the_date() -> None:
    assert refusal(E.CURED, CURING) is None
    assert refusal(E.CURED, replace(CURING, today_on=date(2026, 10, 31))) is R.CURE_NOT_OVER
    assert refusal(E.CURED, replace(CURING, ready_on=None)) is R.CURE_NOT_OVER
    assert refusal(E.CURED, replace(CURING, today_on=None)) is R.CURE_NOT_OVER
    assert refusal(E.CURED, replace(CURING, is_pile_closed=False)) is R.PILE_OPEN


def test_a_closed_pile_takes_no_more_and_closes_once() -> None:
    assert refusal(E.PILED, CURING) is R.PILE_CLOSED
    assert refusal(E.PILE_CLOSED, CURING) is R.PILE_CLOSED


def test_sand_that_left_its_bay_is_not_turned_or_picked_up_again() -> None:
    gone = BatchFacts(S.DRYING, is_picked_up=True)
    assert refusal(E.TURNED, gone) is R.ALREADY_PICKED_UP
    assert refusal(E.PICKED_UP, gone) is R.ALREADY_PICKED_UP
    assert refusal(E.PILED, gone) is None


@pytest.mark.parametrize("stage", [s for s in BatchStage if s is not S.BEDDED])
def test_a_hold_stops_what_brings_sand_to_cows_or_other_sand(stage: BatchStage) -> None:
    held = replace(CURING, stage=stage, is_held=True)
    for event in HOLD_STOPS:
        if (stage, event) in MOVES:
            assert refusal(event, held) is R.HELD
    assert refusal(E.MOISTURE_TEST, held) is None
    assert refusal(E.HELD, held) is R.ALREADY_HELD
    assert refusal(E.CLEARED, held) is None


def test_a_hold_leaves_the_stage_alone() -> None:
    for stage in BatchStage:
        if stage is not S.BEDDED:
            assert stage_after(E.HELD, stage) is stage
            assert stage_after(E.CLEARED, stage) is stage


def test_no_path_reaches_the_beds_but_through_a_release() -> None:
    into = {stage: {a for (a, _), b in MOVES.items() if b is stage and a is not b} for stage in S}
    assert into[S.RELEASED] == {S.CURED}
    assert into[S.CURED] == {S.CURING, None}
    assert into[S.BEDDED] == set()  # only by the last of a released batch


def test_a_refused_move_has_no_stage() -> None:
    with pytest.raises(ValueError, match="not_cured"):
        stage_after(E.RELEASED, S.DRYING)
