"""`manage.py poller`: does due runs from the ledger itself, so that work goes on without Redis."""

import signal
import threading
from datetime import UTC, datetime
from typing import Any

from django.core.management.base import BaseCommand
from django.db import OperationalError, close_old_connections

from equipment.site import runs

PAUSE_S = 2.0
SLOW_AFTER_S = 10.0  # what takes long is the solver's, unless nobody rang for it


class Command(BaseCommand):
    help = "Do due background runs straight from PostgreSQL; the floor under the broker."

    def handle(self, *args: Any, **options: Any) -> None:
        stop = threading.Event()
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: stop.set())
        while not stop.wait(PAUSE_S):
            self._round()

    def _round(self) -> None:
        close_old_connections()
        now = datetime.now(UTC)
        try:
            runs.plan_periodic(now=now)
            runs.poll(now=now)
            runs.poll_slow(now=now, waited_s=SLOW_AFTER_S)
        except OperationalError as error:
            self.stderr.write(f"the database does not answer: {error}")
