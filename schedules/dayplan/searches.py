"""The one search of a site: taken over by whoever comes later, watched, stopped."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from time import monotonic

from django.utils.translation import gettext as _

from equipment.site.models import RunState, TaskRun
from equipment.site.runs import enqueue
from equipment.site.writes import site_write
from schedules.errors import NoSearchError

from .calc.model import Progress
from .models import DaySearch

GOING_ON = "dayplan.improve"
KINDS = ("dayplan.solve", GOING_ON)
TELL_S = 1.0  # how often a search says where it is and looks whether it is to stop
SILENT_S = 10.0  # who tells nothing for so long is lost; its run begins anew after its lease
ASKED_S = 30.0  # a search that a person asks for, unless they say how long
MOST_S = 600.0


def search_of(site_id: int) -> DaySearch:
    """Give the site's search, running or not: 1 query. Writes nothing."""
    return DaySearch.objects.filter(site_id=site_id).first() or DaySearch(site_id=site_id)


def is_alive(search: DaySearch, now: datetime) -> bool:
    """Whether it runs and has told of itself of late: who was killed tells nothing."""
    told_at = search.told_at
    return search.is_running and told_at is not None and now - told_at < timedelta(seconds=SILENT_S)


def ensure_search(site_id: int) -> None:
    """Make the row of the site's search, once."""
    DaySearch.objects.get_or_create(site_id=site_id)


def is_overtaken(run: TaskRun) -> bool:
    """Whether a later run for the same site waits: it will see all that this one would."""
    return TaskRun.objects.filter(
        kind__in=KINDS,
        site_id=_site_of(run),
        state=RunState.WAITING,
        due_at__lte=datetime.now(UTC),
        id__gt=run.pk,
    ).exists()


def _site_of(run: TaskRun) -> int:
    assert run.site_id is not None
    return run.site_id


def take_search(run: TaskRun, *, left_s: float) -> float | None:
    """Make the search this run's, and stop whoever had it; None when a later run has it.

    Gives the seconds it may take: its own, or what was left to the one that it takes over.
    A run that comes back after its worker died may find that others have searched since.
    """
    ensure_search(_site_of(run))
    now = datetime.now(UTC)
    if run.kind == GOING_ON and _is_stopped(run):
        return None
    left_s = max(left_s, _left_to_other_s(run, now))
    not_later = DaySearch.objects.filter(
        site_id=_site_of(run), holder__lte=run.pk, put_by__lte=run.pk
    )
    n_taken = not_later.update(
        holder=run.pk,
        began_at=now,
        told_at=now,
        left_s=left_s,
        elapsed_s=0,
        n_iterations=0,
        is_running=True,
        is_to_stop=False,
    )
    return left_s if n_taken else None


def _is_stopped(run: TaskRun) -> bool:
    """Whether somebody stopped the search before this run could go on with it."""
    to_stop = DaySearch.objects.filter(site_id=_site_of(run), is_to_stop=True, is_running=True)
    return to_stop.update(is_running=False, is_to_stop=False) > 0


def _left_to_other_s(run: TaskRun, now: datetime) -> float:
    """Give what is left of the time of another run's search, that nobody stopped."""
    other = DaySearch.objects.filter(site_id=_site_of(run), is_running=True, is_to_stop=False)
    found = other.exclude(holder=run.pk).first()
    if found is None or found.began_at is None:
        return 0.0
    return found.left_s - (now - found.began_at).total_seconds()


def watch(run: TaskRun) -> Callable[[Progress], bool]:
    """Build what a search tells its progress: it keeps it, and answers whether to stop."""
    told = [monotonic() - TELL_S]

    def tell(progress: Progress) -> bool:
        if monotonic() - told[0] < TELL_S:
            return False
        told[0] = monotonic()
        mine = DaySearch.objects.filter(site_id=_site_of(run), holder=run.pk)
        n_mine = mine.update(
            told_at=datetime.now(UTC),
            elapsed_s=progress.elapsed_s,
            n_iterations=progress.n_iterations,
            cost=progress.cost,
            bound_cost=progress.bound_cost,
            n_left_out=progress.n_left_out,
        )
        return n_mine == 0 or mine.filter(is_to_stop=True).exists() or is_overtaken(run)

    return tell


def lock_search(site_id: int, run_id: int | None) -> DaySearch | None:
    """Lock the search for putting a run's plan in place; None when a later one's stands."""
    ensure_search(site_id)
    search = DaySearch.objects.select_for_update(no_key=True).get(site_id=site_id)
    return search if run_id is None or search.put_by <= run_id else None


def end_search(run: TaskRun, *, is_over: bool) -> bool:
    """Say whether a run of its own is to go on with the search: it is not over, nor to stop.

    Until that run begins the search counts as running and can be stopped. When a later run waits,
    the search is left for it to take over.
    """
    if is_overtaken(run):
        return False
    mine = DaySearch.objects.select_for_update(no_key=True)
    search = mine.filter(site_id=_site_of(run), holder=run.pk).first()
    goes_on = search is not None and not search.is_to_stop and not is_over
    if search is not None and not goes_on:
        _set_down(search)
    return goes_on


def _set_down(search: DaySearch) -> None:
    search.is_running = search.is_to_stop = False
    search.save(update_fields=["is_running", "is_to_stop"])


def ask_search(*, site_id: int, at: datetime, seconds: float = ASKED_S) -> DaySearch:
    """Ask for a search of so many seconds; the newest facts of the farm go into it."""
    with site_write(site_id, at) as write:
        key = f"{site_id}:asked:{at.isoformat()}"
        args = {"seconds": min(seconds, MOST_S)}
        enqueue("dayplan.solve", key=key, site_id=site_id, at=at, args=args)
        write.touch()
    return search_of(site_id)


def stop_search(*, site_id: int, at: datetime) -> DaySearch:
    """Have the running search stop within a second or two; the best plan it has stays."""
    with site_write(site_id, at) as write:
        running = DaySearch.objects.filter(site_id=site_id, is_running=True)
        if not running.update(is_to_stop=True):
            raise NoSearchError(_("No search for a plan is running."))
        write.touch()
    return search_of(site_id)
