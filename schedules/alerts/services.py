"""Keeping what a look found, writing down the answers, deciding."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from datetime import datetime, timedelta

from django.utils.translation import gettext as _

from equipment.site.errors import NotFoundError
from equipment.site.models import Actor
from equipment.site.runs import enqueue
from equipment.site.writes import site_write
from schedules.errors import AlertOverError, NoAnswerError

from .found import Answer, Found
from .models import MAX_NOTE, Alert, AlertKind

ANSWER = "alerts.answer"
LEEWAY = timedelta(hours=1)  # what is to be decided now stays so while the next job comes up
ANSWERS_FOR = timedelta(minutes=15)  # who is free for it is another question then
SOON_STALE = (AlertKind.BEDS, AlertKind.DRIVERS)
ASKED_WHEN_DUE = (AlertKind.SAND, AlertKind.BASIN, AlertKind.MACHINE, AlertKind.DRIVERS)


def keep(
    *, site_id: int, kinds: Collection[AlertKind], found: Iterable[Found], at: datetime
) -> int:
    """Keep what a look at some kinds found, and end what it did not find any more.

    What is new, stands otherwise than before or was answered long ago has its answers reckoned by a
    run of its own. Gives how many rows moved; nothing is written when none did.
    """
    wanted = {(one.kind, one.subject): one for one in found}
    with site_write(site_id, at) as write:
        rows = Alert.objects.select_for_update(no_key=True).filter(
            site_id=site_id, kind__in=kinds, ended_at=None
        )
        kept = {(AlertKind(row.kind), row.subject): row for row in rows}
        again = {key for key, row in kept.items() if _is_asked_again(row, wanted.get(key), at)}
        over = [row.pk for key, row in kept.items() if key not in wanted or key in again]
        n_moved = Alert.objects.filter(pk__in=over).update(ended_at=at)
        for key, one in wanted.items():
            n_moved += _state(site_id, None if key in again else kept.get(key), one, at)
        if n_moved:
            write.touch()
    return n_moved


def _is_asked_again(row: Alert, found: Found | None, at: datetime) -> bool:
    """Whether what was decided has grown worse, or stands still so when its time has come."""
    if found is None or row.decided_at is None:
        return False
    is_due = row.decided_at < row.due_at <= at and found.kind in ASKED_WHEN_DUE
    return is_due or found.weight > row.facts.get("weight", 0)


def _state(site_id: int, row: Alert | None, found: Found, at: datetime) -> bool:
    """Write one matter as it stands, and have its answers reckoned; False where nothing moved."""
    if row is None:
        row = Alert(site_id=site_id, kind=found.kind, subject=found.subject, raised_at=at)
    elif row.decided_at or _stands(row, found, at):
        return False
    else:
        row.n_stated += 1
    row.place_id, row.due_at, row.facts, row.stated_at = (
        found.place_id,
        found.due_at,
        found.stated,
        at,
    )
    row.save()
    key = f"{row.pk}:{row.n_stated}"
    args = {"alert": row.pk, "n_stated": row.n_stated}
    enqueue(ANSWER, key=key, site_id=site_id, at=at, args=args)
    return True


def _stands(row: Alert, found: Found, at: datetime) -> bool:
    """Whether a matter stands as it was stated, with answers that still go.

    A deadline that has passed is now, whatever comes up within the hour after it.
    """
    is_same_time = row.due_at == found.due_at or (row.due_at <= at and found.due_at <= at + LEEWAY)
    is_fresh = found.kind not in SOON_STALE or at - row.stated_at < ANSWERS_FOR
    return row.facts == found.stated and is_same_time and is_fresh


def found_again(row: Alert) -> Found:
    """Give a kept matter as the look found it."""
    facts = {name: fact for name, fact in row.facts.items() if name != "weight"}
    weight = row.facts.get("weight", 0)
    return Found(AlertKind(row.kind), row.subject, row.due_at, facts, row.place_id, weight)


def write_answers(
    *, site_id: int, alert_id: int, n_stated: int, answers: Sequence[Answer], at: datetime
) -> None:
    """Write the answers down, unless the matter moved on, is decided or over meanwhile."""
    with site_write(site_id, at) as write:
        rows = Alert.objects.filter(
            site_id=site_id, pk=alert_id, n_stated=n_stated, ended_at=None, decided_at=None
        )
        documents = [answer.as_document() for answer in answers]
        if rows.exclude(n_answered=n_stated).update(answers=documents, n_answered=n_stated):
            write.touch()


def decide(
    *,
    site_id: int,
    alert_id: int,
    answer: int | None = None,
    n_answered: int | None = None,
    note: str = "",
    by: Actor,
    at: datetime,
) -> Alert:
    """Decide on an answer, by its place from 0, or on something else, in words.

    `n_answered` is the row's, as whoever decides read it: another one means other answers.

    Whoever decides first stands; what is over by itself is not decided any more. The deed itself is
    done where it always is: this keeps who decided what, and lets the matter rest.

    Raises
    ------
    NotFoundError, AlertOverError
    NoAnswerError
        No such answer was offered, or no words were given.
    """
    note = note.strip()
    with site_write(site_id, at) as write:
        row = (
            Alert.objects.select_for_update(no_key=True, of=("self",))
            .select_related("decided_by")
            .filter(site_id=site_id, pk=alert_id)
            .first()
        )
        if row is None:
            raise NotFoundError(_("There is no such matter here."))
        _refuse_over(row)
        row.decision = _chosen(row, answer, n_answered, note)
        row.note, row.decided_by, row.decided_at = note, by, at
        row.save()
        write.touch()
    return row


def _refuse_over(row: Alert) -> None:
    if row.decided_by is not None:
        raise AlertOverError(_("%s has decided it already.") % row.decided_by.name)
    if row.ended_at is not None:
        raise AlertOverError(_("It is over: there is nothing to decide any more."))


def _chosen(
    row: Alert, answer: int | None, n_answered: int | None, note: str
) -> dict[str, object] | None:
    if len(note) > MAX_NOTE:
        raise NoAnswerError(_("Say it in %d signs or fewer.") % MAX_NOTE)
    if answer is None:
        if not note:
            raise NoAnswerError(_("Choose an answer, or say what is done instead."))
        return None
    offered = row.answers or []
    if n_answered != row.n_answered or not 0 <= answer < len(offered):
        raise NoAnswerError(_("That answer is not offered any more. Read the page again."))
    chosen: dict[str, object] = offered[answer]
    return chosen
