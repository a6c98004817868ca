"""The facts that a roster must keep, as the clash finder names them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True, order=True)
class Limit:
    """One fact that must be kept.

    Parameters
    ----------
    code : str
        "away", "fixed", "kind_forbidden_next", "least", "most", "rule" or "lead".
    person, on, kind, skill : str, date or None
        What it concerns. `skill` of "least" and "most".
    rule : str
        The rule's id in the person's contract, or the crew's.
    """

    code: str
    person: str = ""
    on: date = date.min
    kind: str = ""
    skill: str = ""
    rule: str = ""
