"""What weather brings to the farm file: where its rows are measured."""

from django.utils.translation import gettext_lazy as _

from equipment.site.farmfields import Field, Kind
from equipment.site.farmrows import NAME, Rows, Section

from .models import WeatherStation

WEATHER_STATIONS = Section(
    name="weather_stations",
    help=_("Where weather rows come from: the first counts, the next fill its gaps"),
    rows=Rows(WeatherStation),
    fields=(
        NAME,
        Field("latitude_deg", Kind.NUMBER, _("Degrees north"), low=-66, high=66),
        Field("longitude_deg", Kind.NUMBER, _("Degrees east"), low=-180, high=180),
        Field("elevation_m", Kind.NUMBER, _("Metres above sea level"), low=-500, high=6000),
        Field("wind_height_m", Kind.NUMBER, _("Height of the wind meter"), 2, low=0.5, high=100),
    ),
)

SECTIONS = (WEATHER_STATIONS,)
