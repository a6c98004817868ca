"""What the reports of a work order add up to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum


class Said(StrEnum):
    """What a report says."""

    STARTED = "started"
    DONE = "done"
    PART = "part"
    COULD_NOT = "could_not"
    LOAD = "load"
    CANCELLED = "cancelled"
    UNDONE = "undone"
    ACCEPTED = "accepted"
    DISMISSED = "dismissed"


ENDINGS = (Said.DONE, Said.PART, Said.COULD_NOT, Said.CANCELLED)


@dataclass(frozen=True, slots=True)
class Word:
    """One report: what was said, by whom, of when.

    Parameters
    ----------
    said : Said
        What.
    by_id : int
        The actor's id.
    at : datetime
        Aware; when it happened.
    reason : str
        Why, for what was not done.
    n_left : int or None
        Stalls not done.
    machine_id : int or None
        The machine it was done with.
    """

    said: Said
    by_id: int
    at: datetime
    reason: str = ""
    n_left: int | None = None
    machine_id: int | None = None


@dataclass(frozen=True, slots=True)
class Standing:
    """What the reports of a work order add up to.

    Parameters
    ----------
    start, end : Word or None
        The report that started it (the first load did, where nobody said so) and that ended it.
    n_loads : int
        Loads brought.
    """

    start: Word | None = None
    end: Word | None = None
    n_loads: int = 0


def still_said(words: Sequence[Word]) -> list[Word]:
    """Leave out what was taken back.

    Parameters
    ----------
    words : sequence of Word
        In the order they were taken down.

    Returns
    -------
    list of Word
        Each ``UNDONE`` takes out the newest word of the same actor before it, ``DISMISSED`` all
        before it; none of these, nor ``ACCEPTED``, is itself among them.
    """
    standing: list[Word] = []
    for word in words:
        if word.said is Said.DISMISSED:
            standing.clear()
        elif word.said is Said.UNDONE:
            own = [i for i, earlier in enumerate(standing) if earlier.by_id == word.by_id]
            if own:
                standing.pop(own[-1])
        elif word.said is not Said.ACCEPTED:
            standing.append(word)
    return standing


def add_up(words: Sequence[Word]) -> Standing:
    """Add up the reports of one work order.

    Parameters
    ----------
    words : sequence of Word
        In the order they were taken down. The first ending counts: a second "done" is a second
        witness, and another ending after the first is for a person to look at.

    Returns
    -------
    Standing
        Where the work stands.
    """
    standing = still_said(words)
    starts = [w for w in standing if w.said in (Said.STARTED, Said.LOAD)]
    ends = [w for w in standing if w.said in ENDINGS]
    return Standing(
        start=min(starts, key=lambda w: w.at) if starts else None,
        end=ends[0] if ends else None,
        n_loads=sum(w.said is Said.LOAD for w in standing),
    )


def with_load(standing: Standing, word: Word) -> Standing:
    """Add one load more to what reports add up to.

    Parameters
    ----------
    standing : Standing
        What all words before it add up to.
    word : Word
        The load.

    Returns
    -------
    Standing
        What `add_up` gives for all of them; without looking at each again.
    """
    start = standing.start
    is_first = start is None or word.at < start.at
    return replace(standing, start=word if is_first else start, n_loads=standing.n_loads + 1)
