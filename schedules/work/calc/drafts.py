"""What the rules want now, and what becomes of it when its time has passed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import Any

from schedules.work.calc.spans import Span, extend

REST = "/rest-"  # marks the key of what was carried over; keys of the farm hold no slash
GRACE = timedelta(minutes=30)  # phones report late; common practice, no source


class Late(StrEnum):
    """What becomes of untouched work whose time has passed."""

    EXPIRE = "expire"  # missed, after a grace: the cows are back
    MISS = "miss"  # missed at once
    EXTEND = "extend"  # due again for as long as its window was, until the next one takes over


@dataclass(frozen=True, slots=True)
class Need:
    """That a piece of work waits on another (RFC 9253, the temporal RELTYPE values).

    Parameters
    ----------
    on_key : str
        Natural key of the other.
    relation : str
        Such as ``"FINISHTOSTART"``.
    gap_min : float
        Least time between. [min]
    gap_max_min : float or None
        Greatest time between. [min]
    """

    on_key: str
    relation: str
    gap_min: float = 0
    gap_max_min: float | None = None


@dataclass(frozen=True, slots=True)
class Draft:
    """One piece of work as the rules want it now.

    Parameters
    ----------
    key : str
        Natural key; holds no time that can move.
    series : str
        What it is one turn of: the same rule at the same place.
    place_id : int
        Where.
    local_date : date
        The day it is listed under.
    span : Span
        Its window.
    late : Late
        What becomes of it when the window has passed.
    n_stalls : int
        Stalls to do; 0 when it is no work on beds.
    values : mapping
        What else the row holds.
    needs : tuple of Need
        What it waits on.
    is_standing : bool
        That it is wanted however long its window has passed: a batch waits for its step.
    is_missed : bool
        That its time has passed for good.
    """

    key: str
    series: str
    place_id: int
    local_date: date
    span: Span
    late: Late
    n_stalls: int = 0
    values: Mapping[str, Any] = field(default_factory=dict)
    needs: tuple[Need, ...] = ()
    is_standing: bool = False
    is_missed: bool = False


def origin_key(key: str) -> str:
    """Return the key of the work that a rest was carried over from, or the key itself.

    Parameters
    ----------
    key : str
        Natural key.

    Returns
    -------
    str
        Natural key without a mark of carrying over.
    """
    return key.partition(REST)[0]


def rest_key(key: str) -> str:
    """Return the key of what is carried over from a piece of work, or from an earlier rest of it.

    Parameters
    ----------
    key : str
        Natural key.

    Returns
    -------
    str
        ``groom/beds-1/2026-03-04/1`` gives ``.../rest-1``, which gives ``.../rest-2``.
    """
    origin, _, number = key.partition(REST)
    return f"{origin}{REST}{int(number or 0) + 1}"


def settle_late(drafts: Iterable[Draft], now: datetime) -> list[Draft]:
    """Say of each draft whose window has passed whether it is missed or due again.

    Parameters
    ----------
    drafts : iterable of Draft
        All that the rules want, past and future.
    now : datetime
        Aware.

    Returns
    -------
    list of Draft
        The same drafts in the same order, settled. Of a series that is done late, the newest turn
        alone stays due: three days without power ask for one round, not for three.
    """
    drafts = list(drafts)
    newest: dict[str, datetime] = {}
    for draft in drafts:
        if draft.span.start <= now:
            newest[draft.series] = max(draft.span.start, newest.get(draft.series, draft.span.start))
    return [_settled(draft, newest.get(draft.series), now) for draft in drafts]


def _settled(draft: Draft, newest_start: datetime | None, now: datetime) -> Draft:
    grace = GRACE if draft.late is Late.EXPIRE else timedelta(0)
    if draft.span.end + grace > now:
        return draft
    if draft.late is Late.EXTEND and draft.span.start == newest_start:
        return replace(draft, span=extend(draft.span, now))
    return replace(draft, is_missed=True)
