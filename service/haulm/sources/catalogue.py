"""What each source offers, what its licence asks for, and how late it usually is: one row of data a source."""

from dataclasses import dataclass
from datetime import timedelta

from haulm.errors import SourceError
from haulm.weather import Origin


@dataclass(frozen=True, slots=True)
class Source:
    """One source of weather.

    `usual_delay` is how long after the end of a local day its row is usually there (of a forecast: how long one
    issue stands until the next). `note` is what a person who relies on it should know.
    """

    key: str
    name: str
    offers: tuple[str, ...]
    where_it_serves: str
    licence: str
    attribution: str
    usual_delay: timedelta
    wants_contact: bool
    note: str

    @property
    def origin(self) -> Origin:
        """The source itself as the origin of values that have no station."""
        return Origin(self.key, self.name, self.attribution)


METEOSTAT = Source(
    key="meteostat",
    name="Meteostat",
    offers=("air_min_c", "air_max_c", "rain_mm", "humidity_pct", "wind_ms", "gust_ms", "cloud", "hours"),
    where_it_serves="everywhere, as far as stations report",
    licence="attribution to Meteostat and to each provider it names; its pages disagree on commercial use",
    attribution="Meteostat",
    usual_delay=timedelta(days=1),  # judgement: some stations come next morning, others after two or three days
    wants_contact=False,
    note="Model values stand among the observed ones; haulm leaves them out. When a station's day ends depends on its "
    "country: a German station's rain dated Monday fell from 06 UTC on Monday to 06 UTC on Tuesday (measured), a "
    "volunteer's day may end in the morning of its date.",
)
NCEI = Source(
    key="ncei",
    name="NOAA NCEI daily summaries",
    offers=("air_min_c", "air_max_c", "rain_mm"),
    where_it_serves="everywhere, best in the United States",
    licence="public domain; citation asked for",
    attribution="NOAA National Centers for Environmental Information",
    usual_delay=timedelta(days=3),  # judgement on "days of lag"
    wants_contact=False,
    note="The day of a volunteer's station may end at 07:00: its maximum and its rain then belong mostly to the day "
    "before.",
)
MET_NORWAY = Source(
    key="met_norway",
    name="MET Norway Locationforecast",
    offers=("air_min_c", "air_max_c", "rain_mm", "humidity_pct", "dew_point_c", "wind_ms", "cloud", "hours"),
    where_it_serves="everywhere",
    licence="CC BY 4.0",
    attribution="Weather forecast from MET Norway (CC BY 4.0)",
    usual_delay=timedelta(hours=6),
    wants_contact=True,
    note="Gusts and the chance of rain come for some regions only. Not to be asked on the full hour.",
)
NWS = Source(
    key="nws",
    name="US National Weather Service",
    offers=(
        *("air_min_c", "air_max_c", "rain_mm", "humidity_pct", "dew_point_c", "wind_ms", "gust_ms", "cloud"),
        *("rain_chance", "hours"),
    ),
    where_it_serves="the United States and its territories",
    licence="public domain",
    attribution="US National Weather Service",
    usual_delay=timedelta(hours=6),
    wants_contact=True,
    note="The amount of rain is given for the nearer days only; later days have a chance of rain without an amount.",
)
CATALOGUE = {source.key: source for source in (METEOSTAT, NCEI, MET_NORWAY, NWS)}


def check_contact(source: Source, contact: str) -> None:
    """Ask nothing of a service that wants to know who asks, while the settings do not say it.

    Raises
    ------
    SourceError
        The source wants a contact address, and there is none.
    """
    if source.wants_contact and not contact.strip():
        raise SourceError(
            "not asked: the service wants a contact address, and the settings give none",
            where=source.name,
            remedy="Write an address at which you can be reached in the settings, an e-mail address or a web page.",
        )
