"""`manage.py up`: the whole service in the foreground, on one machine with nothing but Python."""

import argparse
import http.client
import os
import socket
import sys
import time
from functools import partial
from pathlib import Path

import psycopg

from config import compiled_code, heartbeat, stores
from config.data_folder import DataFolder, InUseError, default_root
from config.processes import Program
from config.rooms import BASE_DIR
from config.supervisor import Log, Plan, StartError, Supervisor

HOST = "127.0.0.1"
QUEUES = "produce,solve,forecast,notify"
ACCESS_LINE = "%(m)s %(U)s %(s)s %(M)s ms"


def read_arguments(argv: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="manage.py up",
        description="Start database, web server, worker and scheduler; Ctrl-C stops them all.",
    )
    parser.add_argument("--data", type=Path, default=default_root(), metavar="DIR")
    parser.add_argument("--port", type=int, default=8000, metavar="N")
    parser.add_argument("--no-demo", action="store_true", help="do not load the invented farm")
    return parser.parse_args(argv)


def main(argv: list[str]) -> int:
    arguments = read_arguments(argv)
    folder = DataFolder(arguments.data)
    try:
        folder.make()
        with folder.lock() as handle:
            refuse_taken_port(arguments.port)
            compiled_code.forget_old()
            return Service(folder, arguments.port, with_demo=not arguments.no_demo).run(
                handle.fileno()
            )
    except (InUseError, StartError, stores.StoreError, PermissionError) as fault:
        print(f"penround: {fault}", file=sys.stderr)
        return 1


def refuse_taken_port(port: int) -> None:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError as fault:
            raise StartError(f"port {port}: {fault.strerror}. Choose another: --port N") from fault


class Service:
    """What is started, in which order, on which addresses."""

    def __init__(self, folder: DataFolder, port: int, *, with_demo: bool) -> None:
        self.folder = folder
        self.port = port
        self.with_demo = with_demo
        self.started_at = time.monotonic()
        self.log = Log()
        self.heartbeat = folder.root / "run" / "heartbeat"
        self.site_url = os.environ.get("SITE_URL", f"http://localhost:{port}")
        self.supervisor = Supervisor(self.log, partial(folder.write_pids, self.site_url))

    def run(self, lock: int) -> int:
        self.supervisor.inherited = (lock,)
        own_stores = [name for name in ("DATABASE_URL", "REDIS_URL") if name not in os.environ]
        self.heartbeat.unlink(missing_ok=True)
        os.environ.update(self.environment())
        self.folder.write_environment(self.environment())
        try:
            return self.supervisor.run(self.plan(own_stores))
        finally:
            self.folder.forget_run()
            self.say("stopped")

    def environment(self) -> dict[str, str]:
        """Return what all children run on; servers that were named from outside stay."""
        given = os.environ.get
        return {
            "DJANGO_SETTINGS_MODULE": "config.settings",
            "DATABASE_URL": given("DATABASE_URL", self.folder.places.database_url),
            "REDIS_URL": given("REDIS_URL", self.folder.places.redis_url),
            "SECRET_KEY": given("SECRET_KEY") or self.folder.secret_key(),
            "SITE_URL": self.site_url,
            "STATIC_ROOT": str(self.folder.static),
            heartbeat.VARIABLE: str(self.heartbeat),
        }

    def plan(self, own_stores: list[str]) -> Plan:
        """Start all in order. The web server lives before the demo farm does: see /readyz."""
        self.say(f"starting; data in {self.folder.root}")
        loops = self.supervisor.begin(python("loops", "-m", "config.compile_loops"))
        yield from self.start_stores(own_stores)
        yield partial(database_answers, os.environ["DATABASE_URL"], self.deadline(60))
        prepared = yield from self.supervisor.run_once(python("prepare", "-m", "config.prepare"))
        if prepared:
            raise StartError("the preparation failed: see its lines above")
        yield from self.supervisor.keep(self.web(), partial(answers, self.port, "/healthz"))
        self.say(f"web server answers on {self.site_url} after {self.elapsed()}")
        if self.with_demo:
            yield from self.load_demo()
        is_stuck = partial(heartbeat.is_silent, self.heartbeat)
        yield from self.supervisor.keep(worker(), self.heartbeat.exists, is_stuck)
        yield from self.supervisor.keep(beat(self.folder.root), lambda: True, is_stuck)
        yield from self.supervisor.keep(poller(), lambda: True)
        if (yield from self.supervisor.finish(loops)):
            self.say("the plan's loops were not compiled ahead: the first plan will be late")
        self.say(f"ready after {self.elapsed()}: {self.site_url}   (Ctrl-C stops it)")

    def start_stores(self, own_stores: list[str]) -> Plan:
        """Start the stores that the environment does not name."""
        places = self.folder.places
        if own_stores:
            stores.prepare(places)
        if "DATABASE_URL" in own_stores:
            program = stores.postgres_program(places, durable=True)
            yield from self.supervisor.keep(program, lambda: stores.postgres_answers(places))
        if "REDIS_URL" in own_stores:
            program = stores.valkey_program(places, durable=True)
            yield from self.supervisor.keep(program, lambda: stores.valkey_answers(places))

    def load_demo(self) -> Plan:
        """Load the invented farm; a failure leaves the service up, and /readyz says what lacks."""
        code = yield from self.supervisor.run_once(python("demo", "manage.py", "load_demo"))
        if code:
            self.say("the demo farm was not loaded: see the lines of `demo` above")
        else:
            self.say(
                "demo sign-in: names and password stand in the `demo` lines of the first start"
            )

    def web(self) -> Program:
        options = ("-k", "gthread", "--workers", "1", "--threads", "8", "--graceful-timeout", "5")
        log = ("--log-level", "warning", "--access-logfile", "-", "--access-logformat", ACCESS_LINE)
        address = ("-b", f"{HOST}:{self.port}", "--no-control-socket")
        return python("web", "-m", "gunicorn", "config.wsgi", *address, *options, *log)

    def deadline(self, seconds: float) -> float:
        return time.monotonic() + seconds

    def elapsed(self) -> str:
        return f"{time.monotonic() - self.started_at:.1f} s"

    def say(self, words: str) -> None:
        self.log.write("up", words)


def python(name: str, *argv: str, grace_s: float = 10.0) -> Program:
    # Celery warns of root because of pickled messages; ours are JSON alone.
    environment = {"PYTHONWARNINGS": "ignore:You're running the worker with superuser"}
    command = (sys.executable, *argv)
    return Program(name, command, cwd=str(BASE_DIR), grace_s=grace_s, env=environment)


def worker() -> Program:
    options = ("-Q", QUEUES, "-c", "2", "-l", "warning", "--without-gossip", "--without-mingle")
    celery = ("-m", "celery", "-q", "-A", "config", "worker")
    return python("worker", *celery, *options, grace_s=20.0)


def beat(root: Path) -> Program:
    options = ("-s", str(root / "run" / "beat-schedule"), "--pidfile=", "-l", "warning")
    return python("beat", "-m", "celery", "-q", "-A", "config", "beat", *options)


def poller() -> Program:
    """Return the floor under the broker: it does due runs from PostgreSQL alone."""
    return python("poller", "manage.py", "poller")


def database_answers(url: str, deadline: float) -> bool:
    try:
        psycopg.connect(url, connect_timeout=5).close()
    except psycopg.OperationalError as fault:
        if time.monotonic() > deadline:
            raise StartError(f"the database does not answer: {fault}") from fault
        return False
    return True


def answers(port: int, path: str) -> bool:
    """Ask once over HTTP; anything but 200 is a no."""
    connection = http.client.HTTPConnection(HOST, port, timeout=2)
    try:
        connection.request("GET", path)
        return connection.getresponse().status == 200
    except OSError:
        return False
    finally:
        connection.close()
