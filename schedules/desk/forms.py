"""Small readers of what was posted; a fault names its field."""

from datetime import date, datetime, time
from decimal import Decimal, InvalidOperation
from zoneinfo import ZoneInfo

from django.http import QueryDict
from django.utils.translation import gettext as _

from equipment.site.calc.local_time import resolve
from equipment.site.calc.refusal import RefusedValueError
from equipment.site.calc.typed_number import AmbiguousNumberError, parse_number
from equipment.site.errors import InvalidInputError
from equipment.site.units import UnitSystem, parse_quantity
from schedules.sand.models import MOST_KG

MOST_MIN = 10_000  # of any one job: a week
MOST = 2_000_000_000  # of any number that a form has no closer limit for


def read_number(
    posted: QueryDict, name: str, label: str, *, least: float = 0, most: float = MOST
) -> float:
    """Read a number as people type it, from `least` to `most`.

    One that could be meant in two ways is asked back.
    """
    text = posted.get(name, "").strip()
    value = _parsed(text, label)
    told = {"label": label, "text": text, "least": f"{least:,.0f}", "most": f"{most:,.0f}"}
    if value < least:
        raise InvalidInputError(_("%(label)s: %(text)s is below %(least)s.") % told)
    if value > most:
        raise InvalidInputError(_("%(label)s: %(text)s is above %(most)s.") % told)
    return value


def _parsed(text: str, label: str) -> float:
    if not text:
        raise InvalidInputError(_("%s is needed.") % label)
    try:
        return parse_number(text)
    except AmbiguousNumberError as error:
        raise InvalidInputError(_say_ambiguous(text, label)) from error
    except RefusedValueError as error:
        raise InvalidInputError(
            _("%(label)s: %(text)s is no number. Write it as 1250.5.")
            % {"label": label, "text": text}
        ) from error


def read_mass_kg(posted: QueryDict, name: str, label: str, units: str) -> float:
    """Read a load of sand as people type it, in the site's tons or with a unit: 12, 12.5 t."""
    text = posted.get(name, "").strip()
    system: UnitSystem = "us" if units == "us" else "si"
    try:
        value_kg = 1000 * parse_quantity(text, "dry_t", system)
    except AmbiguousNumberError as error:
        raise InvalidInputError(_say_ambiguous(text, label)) from error
    except RefusedValueError as error:
        raise InvalidInputError(_say_no_mass(text, label)) from error
    if not 1 <= value_kg <= MOST_KG:
        raise InvalidInputError(_say_no_mass(text, label))
    return value_kg


def _say_no_mass(text: str, label: str) -> str:
    words = _("%(label)s: %(text)s is no load of sand. Write it as 12.5, or with its unit.")
    return words % {"label": label, "text": text or "–"}


def _say_ambiguous(text: str, label: str) -> str:
    words = _("%(label)s: %(text)s could be meant in two ways. Write 1250.5 or 1,250.")
    return words % {"label": label, "text": text}


def read_whole(
    posted: QueryDict, name: str, label: str, *, least: float = 0, most: float = MOST
) -> int:
    """Read a whole number from `least` to `most`."""
    value = read_number(posted, name, label, least=least, most=most)
    if value != int(value):
        raise InvalidInputError(_("%s must be a whole number.") % label)
    return int(value)


def read_key(posted: QueryDict, name: str, label: str) -> int:
    """Read the key of something chosen from a list."""
    text = posted.get(name, "")
    if not text.isascii() or not text.isdigit() or len(text) > 18:
        raise InvalidInputError(_("Choose %s from the list.") % label)
    return int(text)


def read_keys(posted: QueryDict, name: str, label: str) -> list[int]:
    """Read the keys of several things chosen from a list."""
    texts = posted.getlist(name)
    if not texts or not all(t.isascii() and t.isdigit() and len(t) <= 18 for t in texts):
        raise InvalidInputError(_("Choose at least one: %s.") % label)
    return [int(text) for text in texts]


def read_words(
    posted: QueryDict, name: str, label: str, *, is_needed: bool = False, most: int = 300
) -> str:
    """Read one line of text, at most so many signs."""
    text = " ".join(posted.get(name, "").replace("\x00", "").split())
    if is_needed and not text:
        raise InvalidInputError(_("%s is needed.") % label)
    if len(text) > most:
        words = _("%(label)s is too long: at most %(most)d signs.")
        raise InvalidInputError(words % {"label": label, "most": most})
    return text


def read_money(posted: QueryDict, name: str, label: str) -> Decimal:
    """Read an amount of money with at most two decimals."""
    text = posted.get(name, "").strip() or "0"
    try:
        value = Decimal(str(parse_number(text))).quantize(Decimal("0.01"))
    except (RefusedValueError, AmbiguousNumberError, InvalidOperation) as error:
        raise InvalidInputError(_("%s must be an amount, as in 180.50.") % label) from error
    if not 0 <= value < 10**8:
        raise InvalidInputError(_("%s must be an amount, as in 180.50.") % label)
    return value


def read_moment(posted: QueryDict, name: str, label: str, zone: ZoneInfo) -> datetime:
    """Read a local day (`NAME_day`, ISO) and a time of day (`NAME`)."""
    try:
        on = date.fromisoformat(posted.get(f"{name}_day", ""))
        at = time.fromisoformat(posted.get(name, ""))
    except ValueError as error:
        raise InvalidInputError(
            _("%s must be a day from the list and a time of day, as in 05:10.") % label
        ) from error
    return resolve(datetime.combine(on, at.replace(tzinfo=None)), zone)
