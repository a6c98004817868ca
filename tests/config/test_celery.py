"""The broker is a doorbell: dead or frozen, it costs a caller a moment and nothing else."""

import logging
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from celery import Celery
from django.conf import settings
from kombu.exceptions import OperationalError

from config import heartbeat
from config.celery import app
from config.env import celery_spelling
from config.log import ShortBrokerNews
from config.processes import spawn
from config.stores import Places, prepare, valkey_answers, valkey_program, wait_until

LONGEST_RING_S = 2.0  # the timeout is 0.5 s; the machine may do much else
Broker = tuple[Celery, "subprocess.Popen[bytes]"]


@pytest.fixture
def broker() -> Iterator[Broker]:
    """Run an own Valkey; yield an app with our settings that rings there, and the process."""
    root = Path(tempfile.mkdtemp(prefix="penround-bell-"))
    root.chmod(0o711)
    places = Places(root)
    prepare(places)
    child = spawn(valkey_program(places, durable=False), subprocess.DEVNULL)
    wait_until(lambda: valkey_answers(places), "Valkey", child)
    ringer = Celery("ringer", set_as_current=False)
    ringer.config_from_object("django.conf:settings", namespace="CELERY")
    ringer.conf["broker_url"] = celery_spelling(places.redis_url)
    yield ringer, child
    ringer.close()
    child.kill()
    child.wait()
    shutil.rmtree(root)


def ring(ringer: Celery) -> float:
    """Send one task to a broker that cannot take it; return how long that took."""
    started = time.monotonic()
    with pytest.raises(OperationalError):
        ringer.send_task("equipment.site.tasks.tick")
    return time.monotonic() - started


@pytest.mark.faults
@pytest.mark.parametrize("fault", [signal.SIGSTOP, signal.SIGKILL])
def test_ringing_at_a_broken_broker_is_soon_given_up(broker: Broker, fault: signal.Signals) -> None:
    ringer, child = broker
    ringer.send_task("equipment.site.tasks.tick")

    os.kill(child.pid, fault)

    assert max(ring(ringer) for _ in range(3)) < LONGEST_RING_S


def test_nothing_but_the_bell_hangs_on_the_broker() -> None:
    """What dies with Redis may be a doorbell only: no cache, no session, no throttle."""
    server = settings.REDIS_URL.partition("://")[2].partition("?")[0]

    names = filter(str.isupper, dir(settings))
    hangs = {name for name in names if server in repr(getattr(settings, name))}

    assert hangs == {"REDIS_URL", "CELERY_BROKER_URL"}
    assert settings.SESSION_ENGINE == "django.contrib.sessions.backends.db"


def test_limits_of_a_task_fit_the_time_a_message_stays_hidden() -> None:
    hidden_s = settings.CELERY_BROKER_TRANSPORT_OPTIONS["visibility_timeout"]

    assert hidden_s > 2 * settings.CELERY_TASK_TIME_LIMIT
    assert settings.CELERY_TASK_SOFT_TIME_LIMIT < settings.CELERY_TASK_TIME_LIMIT


def test_two_tasks_at_their_limit_are_not_taken_for_silence() -> None:
    assert heartbeat.SILENT_AFTER_S > settings.CELERY_TASK_TIME_LIMIT


def test_what_beat_sends_is_a_task_that_exists() -> None:
    app.loader.import_default_modules()

    sent = {entry["task"] for entry in settings.CELERY_BEAT_SCHEDULE.values()}

    assert sent <= app.tasks.keys()


def test_silence_counts_from_the_last_sign_or_the_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "heartbeat"
    long_s = heartbeat.SILENT_AFTER_S + 60
    monkeypatch.setenv(heartbeat.VARIABLE, str(file))

    assert heartbeat.is_silent(file, running_s=long_s)  # no sign since it started
    heartbeat.beat()
    assert not heartbeat.is_silent(file, running_s=long_s)
    old = time.time() - long_s
    os.utime(file, (old, old))
    assert heartbeat.is_silent(file, running_s=long_s)
    assert not heartbeat.is_silent(file, running_s=5.0)  # just started again


def test_tick_that_could_not_be_sent_is_one_line() -> None:
    record = logging.LogRecord(
        "celery.beat", logging.ERROR, "", 0, "%s\n%s", ("why", ["stack"]), None
    )
    try:
        raise OperationalError("Connection refused")
    except OperationalError:
        record.exc_info = sys.exc_info()

    assert ShortBrokerNews().filter(record)

    assert logging.Formatter("%(levelname)s %(name)s: %(message)s").format(record) == (
        "ERROR celery.beat: Connection refused"
    )
