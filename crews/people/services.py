"""Verbs about people: leave, and the language they read."""

from datetime import date, datetime

from django.utils.translation import gettext as _

from crews.errors import LeaveSpanError
from equipment.site.errors import NotFoundError
from equipment.site.models import Actor, Language
from equipment.site.writes import site_write

from .models import Leave, LeaveKind, Worker


def find_worker(site_id: int, worker_id: int) -> Worker:
    """Give a worker of the site, locked for the caller's transaction."""
    worker = (
        Worker.objects.select_for_update(of=("self",), no_key=True)
        .select_related("actor")
        .filter(site_id=site_id, id=worker_id, retired_at=None)
        .first()
    )
    if worker is None:
        raise NotFoundError(_("There is no such worker here."))
    return worker


def add_leave(
    *,
    site_id: int,
    worker_id: int,
    kind: LeaveKind,
    from_on: date,
    until_on: date,
    at: datetime,
) -> Leave:
    """Record leave from a day until the day the worker is back; the same first day replaces it."""
    if until_on <= from_on:
        raise LeaveSpanError(_("The day back must be after the first day of leave."))
    with site_write(site_id, at) as write:
        worker = find_worker(site_id, worker_id)
        leave, _made = Leave.objects.update_or_create(
            site_id=site_id,
            worker=worker,
            from_on=from_on,
            defaults={"kind": kind, "until_on": until_on},
        )
        write.change("roster.changed", worker.pk)
    return leave


def set_language(*, site_id: int, by: Actor, language: Language, at: datetime) -> None:
    """Let a worker's phone and its answers speak another language; again changes nothing.

    Whoever asks must be a worker who is still here. 1 query.
    """
    with site_write(site_id, at):
        found = Worker.objects.filter(site_id=site_id, actor=by, retired_at=None)
        if not found.update(language=language):
            raise NotFoundError(_("This account is no worker of the site: pair a phone."))
