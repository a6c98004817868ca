"""A small farm of an older release in a data folder, with photos, for tests of backups.

Its tables end at schedules.0014, and its rows are put in by SQL, so that later releases of the
code need not change it: what a farm of then has is restored and then migrated.
"""

import atexit
import functools
import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import psycopg

from config import backup, restore, stores
from config.backup_folder import backups_in, media_path
from config.data_folder import DataFolder
from config.rooms import BASE_DIR

LAST_MIGRATION = ("schedules", "0014_nudges")
VERSION = 41
PHOTOS = [b"what the camera saw, %d" % n * 500 for n in range(4)]
EPOCH = "11111111-2222-4333-8444-555555555555"
SITE = """
    INSERT INTO equipment_site (id, slug, name, time_zone, latitude_deg, longitude_deg, elevation_m,
        language, units, clock_h, walk_speed_m_min, words, created_at)
    VALUES (1, 'three-cairns', 'Three Cairns', 'America/Denver', 38.6, -102.4, 1190, 'en', 'us', 24,
        70, '{}', now());
    INSERT INTO equipment_siteversion VALUES (1, %(version)s, %(epoch)s, 7);
    INSERT INTO equipment_actor (id, site_id, kind, key, name)
    VALUES (1, 1, 'person', 'ana', 'Ana')
"""
PHOTO = """
    INSERT INTO equipment_attachment (id, site_id, actor_id, kind, sent_sha256, sha256, n_bytes,
        width, height, received_at)
    VALUES (%s, 1, 1, 'photo', %s, %s, %s, 4, 3, now())
"""


class KeptFarm:
    """A data folder with the farm in it, and a folder for backups beside it."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.folder = DataFolder(root / "data")
        self.out = root / "out"
        self.out.mkdir(parents=True, exist_ok=True)

    def backup(self, *options: str) -> int:
        return backup.main(["--data", str(self.folder.root), "--out", str(self.out), *options])

    def restore(self, *options: str, into: str = "new") -> int:
        made = str(self.backups()[-1])
        return restore.main([made, "--data", str(self.root / into), *options])

    def backups(self) -> list[Path]:
        return backups_in(self.out) if self.out.exists() else []

    def photo(self, number: int) -> Path:
        return media_path(self.folder.media, digest_of(PHOTOS[number]))

    def names(self) -> set[str]:
        """Name all that lies in the farm's folder and in that of its backups."""
        return {path.name for path in (*self.root.iterdir(), *self.out.glob("*"))}


def digest_of(body: bytes) -> str:
    return hashlib.sha256(body).hexdigest()


@contextmanager
def database(data: Path) -> Iterator[psycopg.Connection[Any]]:
    """Start the folder's database alone and connect."""
    folder = DataFolder(data)
    folder.make()
    log = folder.root / "run" / "postgres.log"
    with (
        folder.lock() as lock,
        stores.postgres_alone(folder.places, durable=False, lock=lock.fileno(), log=log),
        psycopg.connect(folder.places.database_url, autocommit=True) as connection,
    ):
        yield connection


def migrate(data: Path, *target: str) -> None:
    """Bring the tables of a running database to a release's, or to today's as `up` does."""
    folder = DataFolder(data)
    named = {"DATABASE_URL": folder.places.database_url, "REDIS_URL": folder.places.redis_url}
    named["SECRET_KEY"] = "x" * 50
    named |= {"DJANGO_SETTINGS_MODULE": "config.settings", "SITE_URL": "http://localhost:8000"}
    command = [sys.executable, "-m", "django", "migrate", "--no-input", "-v", "0", *target]
    subprocess.run(command, check=True, cwd=BASE_DIR, env={**os.environ, **named})


def new_root() -> Path:
    root = Path(tempfile.mkdtemp(prefix="penround-kept-"))
    root.chmod(0o711)  # root's stores run as another account
    return root


@functools.cache
def stored() -> Path:
    """Make the farm's folder once a process; tests work on copies."""
    farm = KeptFarm(new_root())
    atexit.register(shutil.rmtree, farm.root)
    with database(farm.folder.root) as connection:
        migrate(farm.folder.root, *LAST_MIGRATION)
        connection.execute("SET session_replication_role = replica")  # rows come in any order
        for statement in SITE.split(";"):
            connection.execute(statement.encode(), {"version": VERSION, "epoch": EPOCH})
        for number, body in enumerate(PHOTOS):
            name = digest_of(body)
            row = [uuid.UUID(int=number), name, name, len(body)]
            connection.execute(PHOTO, row)
            farm.photo(number).parent.mkdir(parents=True)
            farm.photo(number).write_bytes(body)
    farm.folder.secret_key()
    return farm.folder.root


@functools.cache
def backed_up() -> Path:
    """Make one backup of the farm as it is, once a process; give the folder that it lies in."""
    farm = KeptFarm(stored().parent)
    subprocess.run(["cp", "-a", farm.folder.root, farm.root / "before"], check=True)
    assert farm.backup() == 0
    shutil.rmtree(farm.folder.root)
    (farm.root / "before").rename(farm.folder.root)
    return farm.out


@contextmanager
def copied(what: Callable[[], Path]) -> Iterator[KeptFarm]:
    """Give a copy of the farm's folder or of its backups, gone afterwards; owners stay."""
    source, root = what(), new_root()
    try:
        subprocess.run(["cp", "-a", str(source), str(root)], check=True)
        yield KeptFarm(root)
    finally:
        shutil.rmtree(root)
