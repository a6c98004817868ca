"""One backup on disk: what lies in it, its manifest, and how it is told from a damaged one.

penround-20261127T101500000Z/
    manifest.json       what must be there: counts and digests of rows, digests of files
    database.dump       PostgreSQL's custom format, read by its own pg_restore
    media/ab/cd/abcd..  photos and voice notes that rows of the dump name, by their digest
    keys/               only where it was asked for: what signs, and the farm's authority
"""

import hashlib
import json
import re
import tomllib
from dataclasses import asdict, dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from packaging.version import Version

from config import disk
from config.database_facts import Facts, Site, Table
from config.rooms import APPS, BASE_DIR

MANIFEST = "manifest.json"
DUMP = "database.dump"
KEYS = "keys"
NAME = re.compile(r"penround-\d{8}T\d{9}Z")
PART = ".part"
SHA256 = re.compile(r"[0-9a-f]{64}")
FORM = 1


class BackupError(Exception):
    """A backup cannot be made or used; the message says what to do."""


@dataclass(frozen=True, slots=True)
class Manifest:
    """What a backup holds. Digests are SHA-256 in hexadecimal, `made_at` is in UTC."""

    penround: str
    made_at: str
    facts: Facts
    dump: str
    keys: dict[str, str]
    lost: list[str]

    @property
    def media(self) -> dict[str, int]:
        """Files that are there, with their bytes: all that rows name but what was lost before."""
        return {name: n for name, n in self.facts.media.items() if name not in self.lost}

    @property
    def n_rows(self) -> int:
        return sum(table.rows for table in self.facts.tables.values())


def penround_version() -> str:
    project = tomllib.loads((BASE_DIR / "pyproject.toml").read_text())["project"]
    return str(project["version"])


def media_path(folder: Path, sha256: str) -> Path:
    """Say where the file of a digest is; as in equipment.attachments.store."""
    return folder / sha256[:2] / sha256[2:4] / sha256


def write_manifest(folder: Path, manifest: Manifest) -> None:
    """Write it last, with a digest of itself and a word for people about secrets."""
    body = {"form": FORM, "secrets": about_secrets(manifest), **asdict(manifest)}
    body["digest"] = _digest(body)
    text = json.dumps(body, indent=1, ensure_ascii=False)
    disk.write(folder / MANIFEST, text.encode())


def about_secrets(manifest: Manifest) -> str:
    within = (
        "The dump holds what the farm keeps of its people; passwords, PINs, phones' tokens and "
        "links of calendars only as digests. Keep it where only those read it who may. "
    )
    if manifest.keys:
        return within + (
            "keys/ holds the key that signs sign-ins and, if the farm has it, the private key of "
            "its own authority for TLS: whoever has them can act as the farm."
        )
    return within + (
        "The key that signs sign-ins and the farm's own authority for TLS are not in it: after a "
        "restore people sign in again, paired phones go on as they are, and where phones came "
        "by `up --tls` each takes on the new authority at the page that `up` names."
    )


def _digest(body: dict[str, Any]) -> str:
    text = json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def read_manifest(folder: Path) -> Manifest:
    """Read what a backup says of itself; one of a newer Penround is refused before all else."""
    path = folder / MANIFEST
    try:
        body = json.loads(path.read_bytes())
        known = body.pop("digest")
    except (FileNotFoundError, NotADirectoryError):
        raise BackupError(
            f"{folder} is no backup: it has no {MANIFEST}. Name a folder penround-… "
            "that `manage.py backup` has made."
        ) from None
    except (ValueError, KeyError, AttributeError, TypeError) as fault:
        raise BackupError(f"{path} is damaged: {fault!r}. Take another backup.") from fault
    if known != _digest(body):
        raise BackupError(f"{path} is damaged: its digest is another. Take another backup.")
    _refuse_newer(folder, body)
    return _manifest(body)


def _manifest(body: dict[str, Any]) -> Manifest:
    told = dict(body["facts"])
    told["sites"] = {slug: Site(**site) for slug, site in told["sites"].items()}
    told["tables"] = {name: Table(**table) for name, table in told["tables"].items()}
    rest = {name: body[name] for name in ("penround", "made_at", "dump", "keys", "lost")}
    return Manifest(facts=Facts(**told), **rest)


def _refuse_newer(folder: Path, body: dict[str, Any]) -> None:
    """Refuse what this release has no tables for; an older backup is migrated by `up`."""
    here = penround_version()
    words = (
        f"{folder} was made by a newer Penround ({body.get('penround')}) than this one ({here}): "
    )
    cure = "Restore it with that release or a later one."
    if body["form"] != FORM or Version(body["penround"]) > Version(here):
        raise BackupError(words + cure)
    for app, names in body["facts"]["migrations"].items():
        if unknown := sorted(set(names) - known_migrations(app)):
            raise BackupError(f"{words}it has the step {app}.{unknown[0]} of its tables. {cure}")


def known_migrations(app: str) -> set[str]:
    """Give the names of an app's migrations that this release has: ours, or Django's own."""
    if app in APPS:
        folder = BASE_DIR / app / "migrations"
    else:
        spec = find_spec(f"django.contrib.{app}")
        if spec is None or spec.origin is None:
            return set()
        folder = Path(spec.origin).parent / "migrations"
    return {path.stem for path in folder.glob("[0-9]*.py")}


def check_files(folder: Path, manifest: Manifest) -> None:
    """Read every file of a backup and compare its digest, before anything rests on it."""
    wanted = [(folder / DUMP, manifest.dump)]
    wanted += [(media_path(folder / "media", name), name) for name in manifest.media]
    wanted += [(folder / KEYS / name, known) for name, known in manifest.keys.items()]
    for path, known in wanted:
        if not path.is_file():
            raise BackupError(f"{path} is missing. Take another backup.")
        if disk.digest(path) != known:
            raise BackupError(f"{path} is damaged: its digest is another. Take another backup.")


def backups_in(folder: Path) -> list[Path]:
    """Give the whole backups of a folder, oldest first."""
    return sorted(path for path in folder.iterdir() if NAME.fullmatch(path.name))


def backups_of(folder: Path, farms: set[str]) -> list[Path]:
    """Give the whole backups of the same farms, oldest first; a damaged one is nobody's."""
    found = []
    for path in backups_in(folder):
        try:
            manifest = read_manifest(path)
        except BackupError:
            continue
        if set(manifest.facts.sites) == farms:
            found.append(path)
    return found
