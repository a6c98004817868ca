"""A batch's stages: which event moves it where, and what an event is refused for."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from types import MappingProxyType


class BatchStage(StrEnum):
    """Where a batch is in its life. Held is a flag beside it."""

    DRAINING = "draining"
    DRYING = "drying"
    CURING = "curing"
    CURED = "cured"
    RELEASED = "released"
    BEDDED = "bedded"


class BatchEvent(StrEnum):
    """What is done to a batch."""

    SCOOPED = "scooped"  # opens a batch, or fills one
    DELIVERED = "delivered"  # bought sand: a batch of its own
    SPREAD = "spread"
    TURNED = "turned"
    MOISTURE_TEST = "moisture_test"
    PICKED_UP = "picked_up"
    PILED = "piled"  # begins a pile, or adds to an open one
    PILE_CLOSED = "pile_closed"
    CURED = "cured"
    RELEASED = "released"
    BEDDED = "bedded"
    HELD = "held"
    CLEARED = "cleared"


class Refusal(StrEnum):
    """Why an event is not allowed."""

    NOT_A_PERSON = "not_a_person"
    NOT_BEGUN = "not_begun"
    FINISHED = "finished"
    ALREADY_BEGUN = "already_begun"
    NOT_DRAINING = "not_draining"
    NOT_DRYING = "not_drying"
    NOT_IN_A_PILE = "not_in_a_pile"
    NOT_CURED = "not_cured"
    NOT_RELEASED = "not_released"
    NOT_PICKED_UP = "not_picked_up"
    ALREADY_PICKED_UP = "already_picked_up"
    PILE_OPEN = "pile_open"
    PILE_CLOSED = "pile_closed"
    CURE_NOT_OVER = "cure_not_over"
    HELD = "held"
    ALREADY_HELD = "already_held"
    NOT_HELD = "not_held"


@dataclass(frozen=True, slots=True)
class BatchFacts:
    """What is known of a batch beside its stage when an event comes.

    Parameters
    ----------
    stage : BatchStage or None
        None before its first event.
    by_person : bool
        Whether a person reports the event; timers and meters raise work, they move nothing.
    is_held : bool
        Whether a hold is on it.
    is_picked_up : bool
        Whether it has left its bay.
    is_pile_closed : bool
        Whether its pile takes no more.
    ready_on : date or None
        First day on which its cure is over; None while its pile is open.
    today_on : date or None
        Local date of the event.
    """

    stage: BatchStage | None
    by_person: bool = True
    is_held: bool = False
    is_picked_up: bool = False
    is_pile_closed: bool = False
    ready_on: date | None = None
    today_on: date | None = None


_S, _E, _R = BatchStage, BatchEvent, Refusal

MOVES: Mapping[tuple[BatchStage | None, BatchEvent], BatchStage] = MappingProxyType(
    {
        (None, _E.SCOOPED): _S.DRAINING,
        (None, _E.DELIVERED): _S.CURED,
        (None, _E.PILED): _S.CURING,  # a pile is a new batch of its parents
        (_S.DRAINING, _E.SCOOPED): _S.DRAINING,
        (_S.DRAINING, _E.SPREAD): _S.DRYING,
        (_S.DRYING, _E.TURNED): _S.DRYING,
        (_S.DRYING, _E.PICKED_UP): _S.DRYING,
        (_S.DRYING, _E.PILED): _S.CURING,
        (_S.CURING, _E.PILED): _S.CURING,
        (_S.CURING, _E.PILE_CLOSED): _S.CURING,
        (_S.CURING, _E.CURED): _S.CURED,
        (_S.CURED, _E.RELEASED): _S.RELEASED,
        (_S.RELEASED, _E.BEDDED): _S.RELEASED,  # until nothing is left
        **{(stage, _E.MOISTURE_TEST): stage for stage in _S if stage is not _S.BEDDED},
        **{(stage, _E.HELD): stage for stage in _S if stage is not _S.BEDDED},
        **{(stage, _E.CLEARED): stage for stage in _S if stage is not _S.BEDDED},
    }
)
"""Stage after an event, where the event is allowed at all; `refusal` knows the rest."""

WRONG_STAGE: Mapping[BatchEvent, Refusal] = MappingProxyType(
    {
        _E.SCOOPED: _R.NOT_DRAINING,
        _E.DELIVERED: _R.ALREADY_BEGUN,
        _E.SPREAD: _R.NOT_DRAINING,
        _E.TURNED: _R.NOT_DRYING,
        _E.PICKED_UP: _R.NOT_DRYING,
        _E.PILED: _R.NOT_DRYING,
        _E.PILE_CLOSED: _R.NOT_IN_A_PILE,
        _E.CURED: _R.NOT_IN_A_PILE,
        _E.RELEASED: _R.NOT_CURED,
        _E.BEDDED: _R.NOT_RELEASED,
    }
)
"""What an event is refused for when the batch is in another stage than it needs."""

HOLD_STOPS = frozenset({_E.SCOOPED, _E.PILED, _E.RELEASED, _E.BEDDED})
"""What a hold stops: whatever brings the sand to other sand or to cows."""


def refusal(event: BatchEvent, facts: BatchFacts) -> Refusal | None:
    """Tell whether an event is allowed.

    Parameters
    ----------
    event : BatchEvent
        What is reported.
    facts : BatchFacts
        The batch before it.

    Returns
    -------
    Refusal or None
        The first reason against it, None where there is none.

    Notes
    -----
    A reason of the stage comes before one of the pile, and a hold before the rest. Spreading sand
    that has not drained its hours, or picking up a layer that is not dry, is not refused: it was
    done, rain may have been coming, and the record must say what is true.
    """
    if not facts.by_person:
        return _R.NOT_A_PERSON
    if (facts.stage, event) not in MOVES:
        return _stage_refusal(event, facts.stage)
    if facts.is_held and event in HOLD_STOPS:
        return _R.HELD
    return _fact_refusal(event, facts)


def stage_after(
    event: BatchEvent, stage: BatchStage | None, *, is_empty_after: bool = False
) -> BatchStage:
    """Tell the stage after an event that is allowed.

    Parameters
    ----------
    event : BatchEvent
        What is reported.
    stage : BatchStage or None
        The batch's stage before it; None before its first event.
    is_empty_after : bool
        Whether nothing is left of the batch after the event.

    Returns
    -------
    BatchStage
        The same for events that only add to the record. The last of the sand bedded ends the batch.

    Raises
    ------
    ValueError
        No batch of that stage has such an event: ask `refusal` first.
    """
    if (stage, event) not in MOVES:
        raise ValueError(f"{event} of a batch {stage} is refused: {_stage_refusal(event, stage)}")
    if event is _E.BEDDED and is_empty_after:
        return _S.BEDDED
    return MOVES[stage, event]


def _stage_refusal(event: BatchEvent, stage: BatchStage | None) -> Refusal:
    if stage is _S.BEDDED:
        return _R.FINISHED
    if stage is None:
        return _R.NOT_BEGUN
    return WRONG_STAGE[event]


def _fact_refusal(event: BatchEvent, facts: BatchFacts) -> Refusal | None:
    broken = {
        _E.TURNED: ((facts.is_picked_up, _R.ALREADY_PICKED_UP),),
        _E.PICKED_UP: ((facts.is_picked_up, _R.ALREADY_PICKED_UP),),
        _E.PILED: (
            (facts.stage is _S.DRYING and not facts.is_picked_up, _R.NOT_PICKED_UP),
            (facts.is_pile_closed, _R.PILE_CLOSED),
        ),
        _E.PILE_CLOSED: ((facts.is_pile_closed, _R.PILE_CLOSED),),
        _E.CURED: ((not facts.is_pile_closed, _R.PILE_OPEN), (_is_early(facts), _R.CURE_NOT_OVER)),
        _E.HELD: ((facts.is_held, _R.ALREADY_HELD),),
        _E.CLEARED: ((not facts.is_held, _R.NOT_HELD),),
    }
    return next((reason for is_so, reason in broken.get(event, ()) if is_so), None)


def _is_early(facts: BatchFacts) -> bool:
    """Not over, or not known to be: a missing date never lets sand pass."""
    if facts.ready_on is None or facts.today_on is None:
        return True
    return facts.today_on < facts.ready_on
