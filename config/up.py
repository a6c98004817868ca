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

from config import compiled_code, heartbeat, stores, tls
from config.data_folder import DataFolder, InUseError, default_root
from config.processes import Program
from config.rooms import BASE_DIR
from config.supervisor import Log, Plan, StartError, Stuck, Supervisor

HOST = "127.0.0.1"
EVERY_HOST = "0.0.0.0"  # noqa: S104 - with TLS alone, and where the name is not this machine's own
THREADS = 128  # of the web server: most wait, for phones that listen for news
CONNECTIONS = 12  # to the database, shared by those threads
QUEUES = {"solver": "solve,forecast", "worker": "produce,notify"}  # a slow run delays no quick one
ACCESS_LINE = "%(m)s %(U)s %(s)s %(M)s ms"


def read_arguments(argv: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="manage.py up",
        description="Start database, web server, worker and scheduler; Ctrl-C stops them all.",
    )
    parser.add_argument("--data", type=Path, default=default_root(), metavar="DIR")
    parser.add_argument("--port", type=int, default=8000, metavar="N")
    parser.add_argument("--no-demo", action="store_true", help="do not load the invented farm")
    secure = parser.add_argument_group("phones of the farm network (see README)")
    secure.add_argument(
        "--tls", metavar="NAME", help="speak TLS as NAME, the name or address that phones call"
    )
    secure.add_argument("--certificate", type=Path, metavar="FILE", help="of the farm's own (PEM)")
    secure.add_argument("--key", type=Path, metavar="FILE", help="that goes with --certificate")
    secure.add_argument(
        "--door-port", type=int, default=8080, metavar="N", help="of the page that phones begin at"
    )
    arguments = parser.parse_args(argv)
    if bool(arguments.certificate) != bool(arguments.key):
        parser.error("--certificate and --key go together")
    if arguments.certificate and not arguments.tls:
        parser.error("--certificate goes with --tls NAME")
    return arguments


def main(argv: list[str]) -> int:
    arguments = read_arguments(argv)
    folder = DataFolder(arguments.data)
    try:
        folder.make()
        with folder.lock() as handle:
            secured = read_secured(arguments, folder)
            refuse_taken_port(arguments.port, "--port")
            if secured and secured.authority:
                refuse_taken_port(arguments.door_port, "--door-port")
            compiled_code.forget_old()
            service = Service(folder, arguments.port, with_demo=not arguments.no_demo)
            if secured:
                service.secure(secured, arguments.door_port)
            return service.run(handle.fileno())
    except (
        *(InUseError, StartError, stores.StoreError, PermissionError),
        tls.CertificateError,
    ) as fault:
        print(f"penround: {fault}", file=sys.stderr)
        return 1


def read_secured(arguments: argparse.Namespace, folder: DataFolder) -> tls.Secured | None:
    """Give what TLS is spoken with, if it is."""
    if not arguments.tls:
        return None
    if arguments.certificate:
        return tls.own_certificate(arguments.tls, arguments.certificate, arguments.key)
    return tls.farm_certificate(folder.root / "tls", arguments.tls)


def refuse_taken_port(port: int, option: str) -> None:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError as fault:
            words = f"port {port}: {fault.strerror}. Choose another: {option} N"
            raise StartError(words) from fault


class Service:
    """What is started, in which order, on which addresses."""

    def __init__(self, folder: DataFolder, port: int, *, with_demo: bool) -> None:
        self.folder = folder
        self.port = port
        self.with_demo = with_demo
        self.started_at = time.monotonic()
        self.log = Log()
        self.heartbeats = {name: folder.root / "run" / f"heartbeat-{name}" for name in QUEUES}
        self.site_url = os.environ.get("SITE_URL", f"http://localhost:{port}")
        self.secured: tls.Secured | None = None
        self.host = HOST
        self.door_port = 0
        self.supervisor = Supervisor(self.log, partial(folder.write_pids, self.site_url))

    def secure(self, secured: tls.Secured, door_port: int) -> None:
        """Speak TLS, and to the whole network unless the name is this machine's alone."""
        self.secured, self.door_port = secured, door_port
        self.host = HOST if secured.name in {"localhost", HOST} else EVERY_HOST
        port = "" if self.port == 443 else f":{self.port}"
        self.site_url = os.environ.get("SITE_URL", f"https://{secured.name}{port}")

    def run(self, lock: int) -> int:
        self.supervisor.inherited = (lock,)
        own_stores = [name for name in ("DATABASE_URL", "REDIS_URL") if name not in os.environ]
        for file in self.heartbeats.values():
            file.unlink(missing_ok=True)
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
            **environment_of(self.folder, self.site_url),
            "DATABASE_URL": given("DATABASE_URL", self.folder.places.database_url),
            "REDIS_URL": given("REDIS_URL", self.folder.places.redis_url),
            "TLS_CERTIFICATE": str(self.secured.certificate) if self.secured else "",
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
        alive = partial(answers, self.port, "/healthz", self.secured)
        yield from self.supervisor.keep(self.web(), alive)
        if self.secured and self.secured.authority:
            yield from self.supervisor.keep(self.door(self.secured), lambda: True)
        self.say(f"web server answers on {self.site_url} after {self.elapsed()}")
        if self.with_demo:
            yield from self.load_demo()
        solver, quick = (worker(name, file) for name, file in self.heartbeats.items())
        is_stuck = self.is_stuck("worker")
        yield from self.supervisor.keep(solver, lambda: True, self.is_stuck("solver"))
        yield from self.supervisor.keep(quick, self.heartbeats["worker"].exists, is_stuck)
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
        options = ("-k", "gthread", "--workers", "1", "--threads", str(THREADS))
        log = ("--log-level", "warning", "--access-logfile", "-", "--access-logformat", ACCESS_LINE)
        address = ("-b", f"{self.host}:{self.port}", "--no-control-socket")
        stop = ("--graceful-timeout", "5")
        secure: tuple[str, ...] = ()
        if self.secured:
            secure = ("--certfile", str(self.secured.certificate), "--keyfile")
            secure = (*secure, str(self.secured.key))
        words = (*address, *options, *stop, *secure, *log)
        return python(
            "web", "-m", "gunicorn", "config.wsgi", *words, DATABASE_POOL=str(CONNECTIONS)
        )

    def door(self, secured: tls.Secured) -> Program:
        """Return the page, without TLS, at which a phone takes on the farm's authority."""
        self.say(
            f"phones begin at http://{secured.name}:{self.door_port}; the certificate they take on "
            f"has the fingerprint (SHA-256) {secured.fingerprint}"
        )
        options = ("-b", f"{self.host}:{self.door_port}", "--no-control-socket", "-k", "gthread")
        log = ("--log-level", "warning", "--threads", "4")
        words = ("-m", "gunicorn", "config.door", *options, *log)
        authority = str(secured.authority)
        return python("door", *words, DOOR_AUTHORITY=authority, DOOR_TO=self.site_url)

    def is_stuck(self, name: str) -> Stuck:
        return partial(heartbeat.is_silent, self.heartbeats[name])

    def deadline(self, seconds: float) -> float:
        return time.monotonic() + seconds

    def elapsed(self) -> str:
        return f"{time.monotonic() - self.started_at:.1f} s"

    def say(self, words: str) -> None:
        self.log.write("up", words)


def environment_of(folder: DataFolder, site_url: str, secret_key: str = "") -> dict[str, str]:
    """Return what a program of ours runs on that works on a data folder's own servers.

    Where no `secret_key` is given it is the folder's, which is made if it has none.
    """
    return {
        "DJANGO_SETTINGS_MODULE": "config.settings",
        "DATABASE_URL": folder.places.database_url,
        "REDIS_URL": folder.places.redis_url,
        "SECRET_KEY": os.environ.get("SECRET_KEY") or secret_key or folder.secret_key(),
        "SITE_URL": site_url,
        "STATIC_ROOT": str(folder.static),
        "MEDIA_ROOT": str(folder.media),
        "DATA_ROOT": str(folder.root),
        "TLS_CERTIFICATE": "",
    }


def python(name: str, *argv: str, grace_s: float = 10.0, **environment: str) -> Program:
    # Celery warns of root because of pickled messages; ours are JSON alone.
    quiet = {"PYTHONWARNINGS": "ignore:You're running the worker with superuser"}
    command = (sys.executable, *argv)
    env = {**quiet, **environment}
    return Program(name, command, cwd=str(BASE_DIR), grace_s=grace_s, env=env)


def worker(name: str, file: Path) -> Program:
    options = ("-n", f"{name}@%h", "-Q", QUEUES[name], "-c", "2", "-l", "warning")
    alone = ("--without-gossip", "--without-mingle")
    celery = ("-m", "celery", "-q", "-A", "config", "worker")
    signs = {heartbeat.VARIABLE: str(file)}
    return python(name, *celery, *options, *alone, grace_s=20.0, **signs)


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


def answers(port: int, path: str, secured: tls.Secured | None) -> bool:
    """Ask once over HTTP; anything but 200 is a no."""
    connection = http.client.HTTPConnection(HOST, port, timeout=2)
    if secured:
        context = secured.trusting()
        connection = http.client.HTTPSConnection(HOST, port, timeout=2, context=context)
    try:
        connection.request("GET", path)
        return connection.getresponse().status == 200
    except OSError:
        return False
    finally:
        connection.close()
