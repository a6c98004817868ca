"""What the ground floor brings to the farm file: the site, and places that are only places."""

from collections.abc import Iterator
from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from .calc.local_time import zone_named
from .calc.refusal import RefusedValueError
from .farmfields import ANY_PLACE, Complaint, Entry, Field, Kind
from .farmrows import NAME, Farm, Row, Rows, Section, place_fields
from .models import Language, Place, PlaceKind, Site
from .queries import DEFAULT_WORDS

PLAIN_PLACES = (PlaceKind.SITE, PlaceKind.SHOP, PlaceKind.YARD, PlaceKind.FIELD)


class SiteRows(Rows):
    """The site itself; the engine makes it before anything else is written."""

    def select(self, farm: Farm, section: Section) -> QuerySet[Any]:
        return Site.objects.filter(pk=farm.site.pk)

    def read(self, farm: Farm, section: Section) -> dict[str, Row]:
        return {section.name: self.read_row(farm, section, farm.site)}

    def find(self, farm: Farm, key: str) -> Any:
        return farm.site


def check_site(entry: Entry) -> Iterator[Complaint]:
    try:
        zone_named(entry.values["time_zone"])
    except RefusedValueError:
        remedy = _("Give a name of the time zone database, such as America/Denver.")
        yield Complaint("time_zone", _("is no time zone"), remedy)
    if entry.values["clock_h"] not in (12, 24):
        yield Complaint("clock_h", _("must be 12 or 24"), _("Choose one."))
    for language, words in entry.values["words"].items():
        if language not in Language.values or not isinstance(words, dict):
            yield Complaint("words", _("must give words by language"), _("Use en and es."))
        else:
            yield from _check_nouns(language, words)


def _check_nouns(language: str, words: dict[str, Any]) -> Iterator[Complaint]:
    known = DEFAULT_WORDS["en"]
    for noun, word in words.items():
        if noun not in known:
            nouns = ", ".join(sorted(known))
            remedy = _("Known nouns: %(nouns)s.") % {"nouns": nouns}
            yield Complaint(f"words.{language}.{noun}", _("is no noun of the farm"), remedy)
        elif not isinstance(word, str):
            yield Complaint(f"words.{language}.{noun}", _("must be a text"), _("Put it in quotes."))


SITE = Section(
    name="site",
    help=_("The dairy: its name, clock, place on earth and words"),
    is_single=True,
    rows=SiteRows(Site),
    check=check_site,
    fields=(
        Field("slug", Kind.KEY, _("Short name in addresses and commands; never changes")),
        NAME,
        Field("time_zone", Kind.TEXT, _("IANA name of the local time zone")),
        Field("latitude_deg", Kind.NUMBER, _("Degrees north"), low=-66, high=66),
        Field("longitude_deg", Kind.NUMBER, _("Degrees east"), low=-180, high=180),
        Field("elevation_m", Kind.NUMBER, _("Metres above sea level"), 0, low=-500, high=6000),
        Field("language", Kind.CHOICE, _("Usual language"), "en", choices=("en", "es")),
        Field("units", Kind.CHOICE, _("Units on pages"), "us", choices=("us", "si")),
        Field("clock_h", Kind.WHOLE, _("12 or 24 hour clock"), 12, low=12, high=24),
        Field("walk_speed_m_min", Kind.NUMBER, _("How fast people walk"), 70, low=5, high=200),
        Field("words", Kind.DOCUMENT, _("The farm's own nouns, by language"), {}),
    ),
)

PLACES = Section(
    name=ANY_PLACE,
    help=_("Places that are neither pen, alley, tank nor part of the sand yard"),
    rows=Rows(Place),
    place_kinds=PLAIN_PLACES,
    fields=(
        Field(
            "kind",
            Kind.CHOICE,
            _("What it is"),
            choices=tuple(kind.value for kind in PLAIN_PLACES),
            is_on_place=True,
        ),
        *place_fields(),
    ),
)

SECTIONS = (SITE, PLACES)
