"""Accounts of the invented farm, with one password drawn at each installation."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterable
from pathlib import Path

from crews.people.models import Worker
from equipment.site.farmfields import Values
from equipment.site.models import Site, User
from equipment.site.services import make_account

FILE = "sign-in.txt"


def make_accounts(site: Site, entries: Iterable[Values]) -> str | None:
    """Make the accounts that are missing; give their password, None when none was missing."""
    missing = [
        entry for entry in entries if not User.objects.filter(username=entry["username"]).exists()
    ]
    if not missing:
        return None
    password = secrets.token_urlsafe(9)
    for entry in missing:
        _make(site, entry, password)
    return password


def _make(site: Site, entry: Values, password: str) -> None:
    worker = Worker.objects.filter(site=site, key=entry["worker"]).select_related("actor").first()
    user = make_account(
        site,
        entry["username"],
        password,
        role=entry["role"],
        language=entry["language"],
        name=worker.name if worker else entry["name"],
    )
    if worker is not None:
        worker.user = worker.actor.user = user
        worker.save(update_fields=["user"])
        worker.actor.save(update_fields=["user"])


def keep_password(password: str, usernames: Iterable[str]) -> Path | None:
    """Write the password where only this account of the machine reads it, if there is a place."""
    folder = os.environ.get("PENROUND_DATA")
    if not folder:
        return None
    path = Path(folder) / FILE
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "w") as file:
        file.write(f"{password}\n{' '.join(usernames)}\n")
    return path
