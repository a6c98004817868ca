"""Codes as sentences: every code has one, in both languages, with the farm's own names in it.

Right and wrong sides are both ours: a code that somebody adds without a sentence fails here.
"""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.utils import translation

from equipment.machines.models import MachineKind
from schedules.dayplan.calc.solution import ReasonCode
from schedules.dayplan.closures import Why
from schedules.desk.reasons import REASONS, FarmNames, say_reason
from schedules.desk.wording import REPORTS, WAITS, WARNINGS
from schedules.rounds.calc.warn import WarningCode
from schedules.work.calc.reports import Said
from schedules.work.models import Cause, Question
from schedules.work.queries import DECISIONS, WaitCode, say_decision
from schedules.work.queries import REASONS as CAUSES

NAMES = FarmNames({"loader": "Manejo de cargador"}, {"7": "Cargador 3"})
FACTS: dict[str, Any] = {
    "needs_min": 12.4,
    "has_min": 4.0,
    "whys": (Why.FLUSH_RUNS, Why.COWS_WALK_BACK),
    "skills": ("loader",),
    "items": ("key",),
    "kinds": (MachineKind.SKID_LOADER, "7"),
    "n_needed": 2,
    "n_there": 1,
}


@pytest.mark.parametrize(
    ("codes", "sentences"),
    [
        (ReasonCode, REASONS),
        (Question, DECISIONS),
        (Cause, CAUSES),
        (WaitCode, WAITS),
        (Said, REPORTS),
        (WarningCode, WARNINGS),
    ],
)
def test_every_code_has_its_own_sentence_and_no_sentence_is_spare(
    codes: Any, sentences: dict[Any, Any]
) -> None:
    assert set(codes) == sentences.keys()
    assert len({str(words) for words in sentences.values()}) == len(sentences)


@pytest.mark.parametrize("code", ReasonCode)
def test_no_reason_shows_a_code_in_spanish(code: ReasonCode) -> None:
    with translation.override("es"):
        said = say_reason({"code": str(code), "facts": FACTS}, NAMES)

    with translation.override("en"):
        assert said != say_reason({"code": str(code), "facts": FACTS}, NAMES)
    assert re.findall(r"_|%|loader", said) == []


@pytest.mark.parametrize(
    ("code", "said"),
    [
        (
            ReasonCode.NO_MACHINE_OF_KIND,
            "la lechería no tiene máquina para eso: Cargador 3, Minicargador",
        ),
        (ReasonCode.NO_SKILLED_PERSON, "nadie está capacitado para eso: Manejo de cargador"),
        (
            ReasonCode.PLACE_BLOCKED,
            "el lugar está cerrado en su hueco: hay un lavado, las vacas van de regreso",
        ),
    ],
)
def test_a_reason_names_things_as_the_pages_do(code: ReasonCode, said: str) -> None:
    with translation.override("es"):
        assert say_reason({"code": str(code), "facts": FACTS}, NAMES) == said


def test_an_unknown_code_is_an_error_and_no_english_word() -> None:
    with pytest.raises(ValueError, match="unheard_of"):
        say_reason({"code": "unheard_of", "facts": {}}, NAMES)
    with pytest.raises(ValueError, match="unheard_of"):
        say_decision("unheard_of")
