"""What the tests of faults do to a service: ask its farm, kill its parts."""

import json
import os
import signal
import subprocess
import sys
from typing import Any

from config.rooms import BASE_DIR
from tests.config.service import Service
from tests.config.waiting import wait_for


def ask_farm(service: Service, *what: str) -> dict[str, Any]:
    """Run the farm script on the service's own addresses."""
    environment = {**os.environ, **json.loads(service.folder.environment.read_text())}
    done = subprocess.run(
        [sys.executable, "-m", "tests.faults.farm", *what],
        check=False,  # its words are shown
        cwd=BASE_DIR,
        env=environment,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    answer: dict[str, Any] = json.loads(done.stdout)
    return answer


def kill(service: Service, name: str) -> int:
    """Kill a child with -9 and prove that it is gone."""
    pid = service.children()[name]
    os.kill(pid, signal.SIGKILL)
    wait_for(lambda: service.children().get(name) != pid, f"{name} is seen dead")
    return pid


def kill_solver(service: Service) -> None:
    """Kill the solver with all its processes, so that whatever one of them does is cut off."""
    pid = service.children()["solver"]
    os.killpg(pid, signal.SIGKILL)
    wait_for(lambda: service.children().get("solver") != pid, "the solver is seen dead")
