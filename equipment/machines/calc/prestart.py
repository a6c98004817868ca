"""The look round before a machine starts: from answers to a verdict."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from equipment.site.calc.refusal import RefusedValueError

MOST_ITEMS = 15  # a longer list is ticked, not looked at: common practice, no source


@dataclass(frozen=True, slots=True)
class CheckItem:
    """One line of the look round.

    Parameters
    ----------
    key : str
        The farm's key for it.
    is_safety : bool
        A fault in it parks the machine, whatever anyone says.
    """

    key: str
    is_safety: bool


@dataclass(frozen=True, slots=True)
class Answer:
    """What was found.

    Parameters
    ----------
    is_ok : bool
        The good state was found.
    can_work_today : bool or None
        Asked when it was not; None when it was not asked.
    """

    is_ok: bool
    can_work_today: bool | None = None


class Verdict(StrEnum):
    """What to do with the machine."""

    RUN = "run"
    WITH_CARE = "with_care"
    PARK = "park"


@dataclass(frozen=True, slots=True)
class PrestartVerdict:
    """What came of a look round.

    Parameters
    ----------
    verdict : Verdict
        What to do with the machine.
    faults : tuple of str
        Keys of all items not in their good state, in the order of the list.
    safety_faults : tuple of str
        Those of them that are safety items: each takes the machine out of service until a named
        person clears it.
    """

    verdict: Verdict
    faults: tuple[str, ...]
    safety_faults: tuple[str, ...]


def prestart_verdict(items: Sequence[CheckItem], answers: Mapping[str, Answer]) -> PrestartVerdict:
    """Judge a look round.

    Parameters
    ----------
    items : sequence of CheckItem
        The list of the machine, 1 to 15 items.
    answers : mapping of str to Answer
        One for each item, by its key.

    Returns
    -------
    PrestartVerdict
        ``park`` for any fault of a safety item and for any fault that cannot work today;
        ``with_care`` for other faults; ``run`` without fault. [-]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for an empty or too long list, ``missing`` for an item without answer or a
        fault without "can it work today?", ``unknown`` for an answer to no item.

    Notes
    -----
    Valid: for what the list asks; it finds no fault that nobody looks for.
    Checked: tests/equipment/machines/test_prestart.py::test_the_verdict_follows_the_worst_answer,
    test_no_answer_can_make_a_verdict_milder_than_a_safety_fault

    References
    ----------
    .. [1] 29 CFR 1910.178(q)(7), from memory, as the pattern: industrial trucks are examined before
       they are placed in service each day or shift, and not used when a fault makes them unsafe.
       It does not cover farms; the practice is the same.
    """
    if not 1 <= len(items) <= MOST_ITEMS:
        raise RefusedValueError("out_of_range", "items", len(items))
    for key in answers.keys() - {item.key for item in items}:
        raise RefusedValueError("unknown", "answers", key)
    faulty = [item for item in items if not _answer(item, answers).is_ok]
    is_parked = any(item.is_safety or not _can_work(item, answers) for item in faulty)
    verdict = Verdict.PARK if is_parked else Verdict.WITH_CARE if faulty else Verdict.RUN
    return PrestartVerdict(
        verdict,
        tuple(item.key for item in faulty),
        tuple(item.key for item in faulty if item.is_safety),
    )


def _answer(item: CheckItem, answers: Mapping[str, Answer]) -> Answer:
    if item.key not in answers:
        raise RefusedValueError("missing", "answers", item.key)
    return answers[item.key]


def _can_work(item: CheckItem, answers: Mapping[str, Answer]) -> bool:
    can_work_today = answers[item.key].can_work_today
    if can_work_today is None:
        raise RefusedValueError("missing", "can_work_today", item.key)
    return can_work_today
