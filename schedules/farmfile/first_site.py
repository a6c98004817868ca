"""A site of its own from six answers, with the account of its manager; the rest comes by hand."""

from __future__ import annotations

import re
import secrets
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import yaml
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.text import slugify
from django.utils.translation import gettext as _

from equipment.site.calc.local_time import zone_named
from equipment.site.calc.refusal import RefusedValueError
from equipment.site.errors import DomainError, InvalidInputError
from equipment.site.models import Role, Site, User
from equipment.site.services import make_account

from .document import read_text
from .services import load_site

CLOCK_H = {"us": 12, "si": 24}
HERE = re.compile(r"\s*(-?\d+(?:\.\d+)?)\s*[,; ]\s*(-?\d+(?:\.\d+)?)\s*")
MOST_DEG = (66, 180)  # beyond, the sun of a day is not reckoned


class NameTakenError(DomainError):
    """Another site or account has this name."""

    code = "name_taken"
    status = 409


@dataclass(frozen=True, slots=True)
class Answers:
    """What is asked: the dairy's name, its clock and place on earth, how it speaks, who runs it."""

    name: str
    time_zone: str
    latitude_deg: float
    longitude_deg: float
    units: str
    language: str
    manager: str


def read_name(text: str) -> str:
    """Take a name that gives a short one for addresses, not taken by another site yet."""
    name = text.strip()
    if not slugify(name) or len(name) > 60:
        raise InvalidInputError(_("Give a name of letters and digits, 60 signs at most."))
    if Site.objects.filter(slug=slugify(name)).exists():
        raise NameTakenError(_("There is a site %s here already.") % slugify(name))
    return name


def read_zone(text: str) -> str:
    """Take a name of the time zone database."""
    try:
        return zone_named(text.strip()).key
    except RefusedValueError as error:
        words = _("Give a name of the time zone database, such as America/Denver.")
        raise InvalidInputError(words) from error


def read_place(text: str) -> tuple[float, float]:
    """Take degrees north and east."""
    found = HERE.fullmatch(text)
    degrees = (float(found[1]), float(found[2])) if found else (999.0, 999.0)
    if any(abs(got) > most for got, most in zip(degrees, MOST_DEG, strict=True)):
        raise InvalidInputError(
            _("Give degrees north and east, such as 43.2, -112.3: 66 and 180 at most.")
        )
    return degrees


def read_choice(text: str, choices: tuple[str, ...]) -> str:
    """Take one of a few words."""
    if (given := text.strip().lower()) not in choices:
        raise InvalidInputError(_("Choose one of: %s.") % ", ".join(choices))
    return given


def read_manager(text: str) -> str:
    """Take a name to sign in with that no account has."""
    name = text.strip()
    try:
        User._meta.get_field("username").run_validators(name)
    except ValidationError as error:
        raise InvalidInputError(" ".join(error.messages)) from error
    if not name or User.objects.filter(username=name).exists():
        raise NameTakenError(_("Give a name to sign in with that no account has yet."))
    return name


def check_password(password: str, manager: str) -> None:
    """Refuse a password that is easy to guess."""
    try:
        validate_password(password, User(username=manager))
    except ValidationError as error:
        raise InvalidInputError(" ".join(error.messages)) from error


def drawn_password() -> str:
    """Draw a password for who gives none."""
    return secrets.token_urlsafe(9)


def make_first_site(answers: Answers, password: str, at: datetime) -> Site:
    """Make the site through the farm file's own checks, and its manager's account: all or nothing.

    Raises
    ------
    DomainError
        Where a name is taken or a password is easy to guess.
    BrokenFileError
        Where an answer is none that a farm file may hold.
    """
    check_password(password, answers.manager)
    facts: dict[str, Any] = {
        "slug": slugify(read_name(answers.name)),
        "name": answers.name,
        "time_zone": answers.time_zone,
        "latitude_deg": answers.latitude_deg,
        "longitude_deg": answers.longitude_deg,
        "language": answers.language,
        "units": answers.units,
        "clock_h": CLOCK_H.get(answers.units, 24),
    }
    document = read_text(yaml.safe_dump({"site": facts}).encode(), _("the answers"))
    with transaction.atomic():
        load_site(document=document, at=at)
        site = Site.objects.get(slug=facts["slug"])
        manager = read_manager(answers.manager)
        make_account(site, manager, password, role=Role.MANAGER, language=answers.language)
    return site
