"""A file touched by a worker when it is ready and by each task at its start and end.

The ticks of every 5 s are the canary. Silence means a stuck scheduler, broker or worker.
"""

import os
import time
from pathlib import Path

VARIABLE = "PENROUND_HEARTBEAT"
# Two solves may fill a worker of two for the hard time limit of a task (300 s); then a minute.
SILENT_AFTER_S = 360.0


def beat() -> None:
    """Touch the file where the supervisor asks for it."""
    if named := os.environ.get(VARIABLE):
        Path(named).touch()


def is_silent(file: Path, running_s: float) -> bool:
    """Tell whether the file, missing or not, is older than a process may leave it."""
    age_s = time.time() - file.stat().st_mtime if file.exists() else running_s
    return min(age_s, running_s) > SILENT_AFTER_S
