"""Verbs of flushing: plan runs after visits and by the clock, put locks on and take them off."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from django.db.models import Q
from django.utils.translation import gettext as _

from equipment.errors import NoteMissingError, NotLockOwnerError
from equipment.site.errors import NotFoundError
from equipment.site.models import Actor, Place, Site
from equipment.site.writes import site_write

from .models import FlushRun, Lock, RunStatus, Tank
from .openings import Queued, openings_at_times, openings_at_visits, queue
from .queries import levels_at, open_locks, timers_by_lock, timers_in_use
from .visits import FlushVisit

Values = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class FlushCounts:
    """How many runs a planning made, changed and took out."""

    n_runs_made: int = 0
    n_runs_changed: int = 0
    n_runs_removed: int = 0


def lock_tanks(site_id: int) -> None:
    """Make who plans runs and who puts a lock on or takes it off wait for each other.

    Without it a planning could read the open locks, miss the one that is just being put on, and
    leave a run planned into a locked alley.
    """
    rows = Tank.objects.select_for_update(no_key=True).filter(site_id=site_id)
    list(rows.order_by("pk").values_list("pk"))


# Runs -------------------------------------------------------------------------------------------


def plan_flush_runs(
    *,
    site_id: int,
    start: datetime,
    end: datetime,
    visits: Sequence[FlushVisit],
    at: datetime,
) -> FlushCounts:
    """Make or bring up to date the runs that open in [start, end).

    `visits` are those of the span and a little around it, so that runs of one tank queue at its
    edges as they do inside. Runs that have begun by `at` are never changed, those that are over are
    taken as done; a run whose water reaches a locked place is blocked by that lock. A run at a set
    time waits for a low tank, one of a visit does not and says what it lacks. What was to open
    before `at` and was never planned is not made up. A second call changes nothing.
    """
    with site_write(site_id, at) as write:
        lock_tanks(site_id)
        timers = list(timers_in_use(site_id))
        zone = Site.objects.get(pk=site_id).zone
        openings = openings_at_visits(timers, visits)
        openings += openings_at_times(timers, start, end, zone)
        keys = {opening.key for opening in openings}
        inside = Q(starts_at__gte=start, starts_at__lt=end)
        rows = FlushRun.objects.filter(inside | Q(natural_key__in=keys), site_id=site_id)
        runs = {row.natural_key: row for row in rows}
        begun = {key: run.starts_at for key, run in runs.items() if run.starts_at <= at}
        ahead = [o for o in openings if o.key in runs or o.starts_at >= at]
        by_lock = timers_by_lock(site_id, list(open_locks(site_id)))
        dry = {pk for lock_id, pks in by_lock.items() if lock_id for pk in pks}
        queued = queue(ahead, begun=begun, at=at, levels=levels_at(site_id, start), dry=dry)
        wanted = {
            turn.opening.key: _values(turn)
            for turn in queued
            if start <= turn.opening.starts_at < end
            or _opens_in(runs.get(turn.opening.key), start, end)
        }
        gone = [run for key, run in runs.items() if key not in keys and run.starts_at > at]
        counts = _write(site_id, runs, wanted, gone, at)
        if counts != FlushCounts():
            _block(by_lock, at)
        if _close_past(site_id, at) or counts != FlushCounts():
            write.touch()
        return counts


def _opens_in(run: FlushRun | None, start: datetime, end: datetime) -> bool:
    return run is not None and start <= run.starts_at < end


def _close_past(site_id: int, at: datetime) -> int:
    """Take planned runs that are over as done: no valve reports back."""
    past = FlushRun.objects.filter(site_id=site_id, status=RunStatus.PLANNED, ends_at__lte=at)
    return past.update(status=RunStatus.DONE)


def _values(turn: Queued) -> Values:
    opening = turn.opening
    return {
        "timer_id": opening.timer.pk,
        "alley_id": opening.timer.alley_id,
        "starts_at": opening.starts_at,
        "ends_at": opening.ends_at,
        "volume_m3": opening.length.volume_m3,
        "short_m3": turn.short_m3,
        "waits_s": turn.waits.total_seconds(),
    }


def _write(
    site_id: int,
    runs: Mapping[str, FlushRun],
    wanted: Mapping[str, Values],
    gone: Sequence[FlushRun],
    at: datetime,
) -> FlushCounts:
    made = [
        FlushRun(site_id=site_id, natural_key=key, **values)
        for key, values in wanted.items()
        if key not in runs
    ]
    changed = [
        run
        for key, run in runs.items()
        if key in wanted and run.starts_at > at and _put(run, wanted[key])
    ]
    FlushRun.objects.bulk_create(made)
    if changed:
        # An upsert by key: an update of a thousand rows row by row takes ten times as long.
        fields = ["timer", "alley", "starts_at", "ends_at", "volume_m3", "short_m3", "waits_s"]
        FlushRun.objects.bulk_create(
            changed, update_conflicts=True, unique_fields=["id"], update_fields=fields
        )
    FlushRun.objects.filter(pk__in=[run.pk for run in gone]).delete()
    return FlushCounts(len(made), len(changed), len(gone))


def _put(run: FlushRun, values: Values) -> bool:
    """Set values on a run; say whether any differs."""
    changed = {name: value for name, value in values.items() if getattr(run, name) != value}
    for name, value in changed.items():
        setattr(run, name, value)
    return bool(changed)


def _block_anew(site_id: int, from_at: datetime) -> None:
    _block(timers_by_lock(site_id, list(open_locks(site_id))), from_at)


def _block(by_lock: Mapping[int | None, list[int]], from_at: datetime) -> None:
    """Block or free every run not yet over, by the locks that are on.

    That a run was done is taken for granted, and a lock told late takes it back.
    """
    for lock_id, timer_ids in by_lock.items():
        FlushRun.objects.filter(timer_id__in=timer_ids, ends_at__gt=from_at).exclude(
            blocked_by_id=lock_id
        ).update(blocked_by_id=lock_id, status=RunStatus.BLOCKED if lock_id else RunStatus.PLANNED)


# Locks ------------------------------------------------------------------------------------------


def put_lock(
    *,
    site_id: int,
    place_id: int,
    what: str,
    by: Actor,
    at: datetime,
    received_at: datetime | None = None,
) -> Lock:
    """Record that a person isolated a place; runs whose water reaches it are blocked.

    Recording stops no valve: isolate first. Everyone exposed puts on a lock of their own; the
    same person's lock on the same place stays one. Tells `lock.on`.
    """
    received_at = received_at or datetime.now(UTC)
    with site_write(site_id, received_at) as write:
        lock_tanks(site_id)
        if not Place.objects.filter(site_id=site_id, pk=place_id).exists():
            raise NotFoundError(_("There is no such place here."))
        lock, made = Lock.objects.get_or_create(
            site_id=site_id,
            place_id=place_id,
            owner=by,
            off_at=None,
            defaults={"what": what, "on_at": at},
        )
        if made:
            # A phone's clock that runs ahead must not leave the runs until then unblocked.
            _block_anew(site_id, min(at, received_at))
            write.change("lock.on", place_id, lock=lock.pk, by=by.pk)
    return lock


def take_off_lock(
    *,
    site_id: int,
    lock_id: int,
    by: Actor,
    at: datetime,
    note: str = "",
    is_lead: bool = False,
    received_at: datetime | None = None,
) -> Lock:
    """Record that a lock came off; runs that no other lock stops are planned again.

    Its owner may; a lead may with a note of how the farm's absent-owner procedure was followed.
    Taking off twice changes nothing. Tells `lock.off`.
    """
    received_at = received_at or datetime.now(UTC)
    with site_write(site_id, received_at) as write:
        lock_tanks(site_id)
        locks = Lock.objects.select_for_update(of=("self",), no_key=True).select_related("owner")
        lock = locks.filter(site_id=site_id, pk=lock_id).first()
        if lock is None:
            raise NotFoundError(_("There is no such lock here."))
        if lock.off_at is not None:
            return lock
        _refuse_stranger(lock, by, note=note, is_lead=is_lead)
        lock.off_at, lock.off_by, lock.off_note = max(at, lock.on_at), by, note
        lock.save(update_fields=["off_at", "off_by", "off_note"])
        _block_anew(site_id, min(at, received_at))
        write.change("lock.off", lock.place_id, lock=lock.pk, by=by.pk)
    return lock


def _refuse_stranger(lock: Lock, by: Actor, *, note: str, is_lead: bool) -> None:
    if lock.owner_id == by.pk:
        return
    if not is_lead:
        raise NotLockOwnerError(
            _(
                "This lock is %(owner)s's. Only %(owner)s takes it off, or a lead who follows the "
                "farm's absent-owner procedure."
            )
            % {"owner": lock.owner.name}
        )
    if not note.strip():
        raise NoteMissingError(
            _(
                "Write how the absent-owner procedure was followed: that %(owner)s is not on the "
                "farm, was told, and that everyone is clear."
            )
            % {"owner": lock.owner.name}
        )
