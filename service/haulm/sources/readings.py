"""What a fetch hands on: days with the source of each value, or a forecast with its hours."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from haulm.errors import Complaint
from haulm.weather import Forecast, Hours, Record

IdArray = NDArray[np.str_]
# Room for the source ids of one value: a day made of hours can name half a dozen.
IDS = "U96"


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """A station's record.

    `ids` names, for each quantity that the station gives, the source of each day's value ("" where there is none).
    `modelled` counts values that were a model's and therefore left out. `stale` says that the newest file could not be
    had, so that the newest days are those of an earlier fetch, or lacking.
    """

    record: Record
    ids: Mapping[str, IdArray] = field(default_factory=dict)
    complaints: tuple[Complaint, ...] = ()
    modelled: int = 0
    stale: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Issue:
    """A forecast with the hours it was folded from."""

    forecast: Forecast
    hours: Hours
    complaints: tuple[Complaint, ...] = ()
