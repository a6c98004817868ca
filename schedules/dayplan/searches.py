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

KINDS = ("dayplan.solve", "dayplan.improve")
TELL_S = 1.0  # how often a search says where it is and looks whether it is to stop
SILENT_S = 10.0  # a search that tells nothing for so long is lost; its run begins again
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


def take_search(run: TaskRun, *, left_s: float) -> None:
    """Make the search this run's; who had it before stops."""
    ensure_search(_site_of(run))
    now = datetime.now(UTC)
    DaySearch.objects.filter(site_id=_site_of(run)).update(
        holder=run.pk,
        began_at=now,
        told_at=now,
        left_s=left_s,
        elapsed_s=0,
        n_iterations=0,
        is_running=True,
        is_to_stop=False,
    )


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


def end_search(run: TaskRun) -> bool:
    """Say that the search is over; whether to go on: nobody has it now or told it to stop."""
    mine = DaySearch.objects.filter(site_id=_site_of(run), holder=run.pk)
    goes_on = mine.filter(is_to_stop=False).exists()
    mine.update(is_running=False, is_to_stop=False)
    return goes_on


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
