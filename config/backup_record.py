"""What the data folder remembers of a farm's backups: the last whole one, and a failure since.

`backup` writes it and the Status page reads it (equipment.site.condition). It lies beside the
data and is in no backup: a folder that a backup was restored into knows of none yet.
"""

import json
from datetime import UTC, datetime
from pathlib import Path

from config.data_folder import DataFolder, write_private


def remember_made(folder: DataFolder, made: Path, made_at: datetime) -> None:
    """Keep that a backup is whole and of which moment; failures before it are past."""
    write_private(folder.backup_record, _text({"made_at": _said(made_at), "to": str(made.parent)}))


def remember_failed(folder: DataFolder, why: str) -> None:
    """Keep that a backup failed, beside the last whole one."""
    known = {k: v for k, v in read(folder).items() if k in ("made_at", "to")}
    failed = {"failed_at": _said(datetime.now(UTC)), "why": why}
    write_private(folder.backup_record, _text(known | failed))


def read(folder: DataFolder) -> dict[str, str]:
    """Give what is known; nothing where there is no record or none that can be read."""
    try:
        known = json.loads(folder.backup_record.read_text())
    except (OSError, ValueError):
        return {}
    return known if isinstance(known, dict) else {}


def _said(at: datetime) -> str:
    return at.isoformat(timespec="seconds")


def _text(record: dict[str, str]) -> str:
    return json.dumps(record, indent=1, ensure_ascii=False)
