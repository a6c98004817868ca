"""What a look finds, before it is kept: evidence with its deadline, and answers to it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, time
from typing import Any

from .models import AlertKind, AnswerCode

MORNING = time(7)  # by when a day's work must be decided; common practice, no source


@dataclass(frozen=True, slots=True)
class Found:
    """One thing that will go wrong unless somebody decides by `due_at`.

    `subject` names it within its kind as long as it is the same matter; `facts` are plain numbers,
    keys of rows and ISO times, fit for JSON. `weight` says how bad it is, in steps: what is decided
    is asked again when it grows by one.
    """

    kind: AlertKind
    subject: str
    due_at: datetime
    facts: Mapping[str, Any]
    place_id: int | None = None
    weight: int = 0

    @property
    def stated(self) -> dict[str, Any]:
        """What is kept of it."""
        return {**self.facts, "weight": self.weight}


@dataclass(frozen=True, slots=True)
class Answer:
    """One thing to do about it, and the facts that it was reckoned with."""

    code: AnswerCode
    facts: Mapping[str, Any]

    def as_document(self) -> dict[str, Any]:
        """Write it down for JSON."""
        return {"code": self.code.value, "facts": dict(self.facts)}
