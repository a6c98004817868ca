"""`manage.py up` for real: an own PostgreSQL, Valkey, web server, worker and scheduler."""

import os
import signal
import stat
import subprocess
import sys
from collections.abc import Callable, Iterator

import pytest

from tests.config.service import Service

NAMES = {"postgres", "valkey", "web", "worker", "solver", "beat", "poller"}


@pytest.fixture(scope="module")
def one_folder() -> Iterator[Service]:
    service = Service()
    try:
        yield service
    finally:
        service.end()


@pytest.fixture
def service(one_folder: Service) -> Service:
    """Return it running, started again on its data where the test before has ended it."""
    one_folder.ensure_running()
    return one_folder


def test_healthz_answers_whatever_host_was_asked_for(service: Service) -> None:
    assert service.get("/healthz", host="elsewhere.example") == (200, {"status": "alive"})


def test_readyz_says_that_a_farm_is_still_missing(service: Service) -> None:
    answer = service.get("/readyz", host="elsewhere.example")

    assert answer == (503, {"status": "waiting", "waiting_for": "farm"})


def test_address_stands_in_the_log(service: Service) -> None:
    assert f"http://localhost:{service.port}" in service.log()


def test_pids_of_all_children_are_published(service: Service) -> None:
    known = service.folder.read_pids()

    assert known["supervisor"] == service.process.pid
    assert set(known["children"]) == NAMES


def test_secret_and_addresses_are_readable_by_their_owner_alone(service: Service) -> None:
    files = [service.folder.root / "secret_key", service.folder.environment]

    assert [stat.S_IMODE(file.stat().st_mode) for file in files] == [0o600, 0o600]


def test_doctor_finds_nothing_wrong_with_it(service: Service) -> None:
    command = [sys.executable, "manage.py", "doctor", "--data", str(service.folder.root)]
    done = subprocess.run(command, check=False, capture_output=True, text=True, timeout=60)

    assert "WRONG" not in done.stdout, done.stdout
    assert f"all of {len(NAMES)} processes run" in done.stdout
    assert "answers and waits for: farm" in done.stdout
    assert done.returncode == 0, done.stderr


def test_second_up_on_the_same_data_says_so_and_ends(service: Service) -> None:
    second = run_another(service)

    assert second.returncode == 1
    assert f"already runs on {service.folder.root}" in second.stderr
    assert f"process {service.process.pid}" in second.stderr
    assert service.get("/healthz")[0] == 200


def test_taken_port_is_named_before_anything_starts(service: Service) -> None:
    second = run_another(service, "--data", str(service.root / "other"))

    assert second.returncode == 1
    assert f"port {service.port}: Address already in use. Choose another: --port N" in second.stderr
    assert not (service.root / "other" / "postgres").exists()


def run_another(service: Service, *options: str) -> subprocess.CompletedProcess[str]:
    command, environment = service.command(*options), service.environment()
    return subprocess.run(
        command, check=False, env=environment, capture_output=True, text=True, timeout=60
    )


@pytest.mark.faults
@pytest.mark.parametrize("name", sorted(NAMES))
def test_killed_child_comes_back(service: Service, name: str) -> None:
    before = service.children()[name]

    os.kill(before, signal.SIGKILL)

    service.wait(lambda: service.children()[name] != before, f"{name} is started again")
    service.wait(lambda: is_whole(service), f"all answer after {name} was killed")
    assert f"{name} ended (-9); again in" in service.log()


def is_whole(service: Service) -> bool:
    lives = all(os.path.exists(f"/proc/{pid}") for pid in service.children().values())
    return lives and service.get("/readyz")[1].get("waiting_for") == "farm"


def terminate(service: Service) -> None:
    service.process.send_signal(signal.SIGTERM)
    assert service.process.wait(60) == 0


def interrupt(service: Service) -> None:
    service.process.send_signal(signal.SIGINT)
    assert service.process.wait(60) == 0


def kill(service: Service) -> None:
    service.process.kill()
    service.process.wait(60)


@pytest.mark.faults
@pytest.mark.parametrize("end", [terminate, interrupt, kill])
def test_no_process_is_left(service: Service, end: Callable[[Service], None]) -> None:
    assert len(service.living()) > len(NAMES), "the search must see the living"

    end(service)

    service.wait(lambda: not service.living(), "every child has ended", 30)
