"""Weather stations as places: how far away, how much higher, and what their own key may look like."""

import re
from dataclasses import dataclass
from math import asin, cos, radians, sin, sqrt

from haulm.errors import SourceError, in_one_line
from haulm.garden import Place
from haulm.weather import Origin

EARTH_RADIUS_KM = 6371.0
LONGEST_NAME = 80  # letters of a station's name: what a stranger wrote stands in our letter
_KEY = re.compile(r"[A-Za-z0-9]{2,12}")


@dataclass(frozen=True, slots=True)
class Station:
    """A station as it lies to a garden; `key` is its identifier in its source. None where it is not known."""

    key: str
    name: str = ""
    distance_km: float | None = None
    height_difference_m: float | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", in_one_line(self.name, LONGEST_NAME))

    def origin(self, attribution: str) -> Origin:
        """The station as the origin of values."""
        return Origin(self.key, self.name or self.key, attribution, self.distance_km, self.height_difference_m)


def check_key(key: str) -> str:
    """The key, if it can be a station's: it becomes part of an address and of a file's name.

    Raises
    ------
    SourceError
        It cannot.
    """
    if not _KEY.fullmatch(key):
        raise SourceError(
            f'"{key}" cannot be a station\'s identifier',
            where="station",
            remedy="It is 2 to 12 letters and digits, such as 10637.",
        )
    return key


def distance_km(latitude_deg: float, longitude_deg: float, place: Place) -> float:
    """Distance over the ground from a place: the haversine formula on a sphere of 6371 km."""
    here, there = radians(place.latitude_deg), radians(latitude_deg)
    north, east = there - here, radians(longitude_deg - place.longitude_deg)
    chord = sin(north / 2) ** 2 + cos(here) * cos(there) * sin(east / 2) ** 2
    return 2.0 * EARTH_RADIUS_KM * asin(sqrt(min(chord, 1.0)))
