"""Sections that the file alone holds: nothing in a room rests on them."""

from typing import Any

from django.utils.translation import gettext_lazy as _

from equipment.site.farmfields import Field, Kind, Values
from equipment.site.farmrows import Farm, Row, Rows, Section

from .models import LoadedEntry


class FileOnlyRows(Rows):
    """An entry kept as it was loaded, with what a person made of it, and nowhere else."""

    def in_use(self, farm: Farm, section: Section) -> Any:
        return LoadedEntry.objects.filter(site=farm.site, section=section.name)

    def read(self, farm: Farm, section: Section) -> dict[str, Row]:
        rows = LoadedEntry.objects.filter(site=farm.site, section=section.name)
        return {row.key: Row(row.value if row.by_hand is None else row.by_hand) for row in rows}

    def create(self, farm: Farm, section: Section, key: str, values: Values) -> None:
        """Make the row; what a file said the engine writes beside it."""
        LoadedEntry.objects.create(
            site=farm.site, section=section.name, key=key, by_hand=values, loaded_at=farm.at
        )

    def update(self, farm: Farm, section: Section, key: str, values: Values) -> None:
        """Set some values beside what the file said, which the engine keeps."""
        row = LoadedEntry.objects.get(site=farm.site, section=section.name, key=key)
        row.by_hand = {**(row.value if row.by_hand is None else row.by_hand), **values}
        row.save(update_fields=["by_hand"])


INVENTED_WEATHER = Section(
    name="invented_weather",
    help=_("Of an invented farm only: how its weather is drawn"),
    is_single=True,
    rows=FileOnlyRows(LoadedEntry),
    fields=(
        Field("seed", Kind.WHOLE, _("Same seed, same weather"), 1, low=0),
        Field("from_on", Kind.DATE, _("First day drawn"), "2014-01-01"),
        Field("rain_days_factor", Kind.NUMBER, _("Times as many rain days"), 1, low=0, high=5),
        Field("rain_amount_factor", Kind.NUMBER, _("Times as much a day"), 1, low=0, high=5),
    ),
)

SECTIONS = (INVENTED_WEATHER,)
