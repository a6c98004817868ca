"""The ledger of the tables' steps: which are made, which are to come, and how they are made.

All that are to come are made in one transaction, so that a failure leaves the tables as they were;
whoever makes them holds a lock of the database, so that two at once take turns.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING

from config.backup_folder import known_migrations, penround_version

if TYPE_CHECKING:
    from django.db.migrations import Migration

LOCK = int.from_bytes(b"penround")  # of the database, for who makes steps
IMMEDIATE = "SET CONSTRAINTS ALL IMMEDIATE"  # no step waits with its checks for the last one's end


class NewerError(Exception):
    """The tables are of a newer release than this program."""


def refuse_newer(made: Mapping[str, Iterable[str]]) -> None:
    """Refuse tables that have steps of which this release knows nothing."""
    unknown = sorted(
        f"{app}.{name}"
        for app, names in made.items()
        for name in names
        if name not in known_migrations(app)
    )
    if unknown:
        raise NewerError(
            f"The database is of a newer Penround than this one ({penround_version()}): it has the "
            f"step {unknown[-1]} of its tables. Nothing was changed. Go on with the release that "
            "made it or a later one, or restore a backup from before: "
            "python3 manage.py restore BACKUP --data DIR --aside"
        )


def steps_to_come() -> list[str]:
    """Name the steps that are not made, in the order in which they are; Django is set up."""
    return [f"{step.app_label}.{step.name}" for step in _plan()]


def make_steps() -> None:
    """Make all steps that are to come, or none of them."""
    from django.core.management import call_command
    from django.db import connection, transaction
    from django.db.migrations.recorder import MigrationRecorder

    with _alone():
        made: dict[str, list[str]] = {}
        for app, name in MigrationRecorder(connection).applied_migrations():
            made.setdefault(app, []).append(name)
        refuse_newer(made)
        if not all(step.atomic for step in _plan()):  # such steps cannot be taken back
            call_command("migrate", interactive=False, verbosity=0)
            return
        with transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute(IMMEDIATE)
            call_command("migrate", interactive=False, verbosity=0)


@contextmanager
def _alone() -> Iterator[None]:
    """Hold the lock; who comes second waits, and then finds nothing to do."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_lock(%s)", [LOCK])
        try:
            yield
        finally:
            cursor.execute("SELECT pg_advisory_unlock(%s)", [LOCK])


def _plan() -> list[Migration]:
    from django.db import connection
    from django.db.migrations.executor import MigrationExecutor

    executor = MigrationExecutor(connection)
    leaves = executor.loader.graph.leaf_nodes()
    return [step for step, _is_undone in executor.migration_plan(leaves)]
