"""A crop's season in a few numbers, once it is lifted: from the journal and the record."""

from datetime import date

import numpy as np

from haulm.beds.noted import Noted, rain_read_mm, watered_mm
from haulm.condition import SeasonSum
from haulm.garden import Bed, Journal, Planting, What
from haulm.weather import DAY, Days


def season_sum(bed: Bed, planting: Planting, days: Noted, journal: Journal, weather: Days) -> SeasonSum | None:
    """From planting to the first lifting; None where either was not noted, or lifting for an earlier day.

    Rain is the station's, but the grower's own gauge where it was read; days without either count as none, and are
    counted.
    """
    if days.planted is None or days.lifted is None or days.lifted < days.planted:
        return None
    last = days.lifted - DAY
    count = (last - days.planted).days + 1
    own = rain_read_mm(bed, journal, days.planted, count)
    fell = weather.of("rain_mm").between(days.planted, last)
    rain = np.where(np.isfinite(own), own, fell)
    given = watered_mm(bed, journal, days.planted, count)
    weights = _weights_kg(journal, bed, planting, days.planted)
    return SeasonSum(
        planted=days.planted,
        shoots=days.shoots,
        lifted=days.lifted,
        rain_mm=float(np.nansum(rain)),
        rain_unknown_days=int(np.isnan(rain).sum()),
        watered_mm=float(given.sum()),
        watered_days=int((given > 0.0).sum()),
        weight_kg=float(sum(weights)) if weights else float("nan"),
    )


def _weights_kg(journal: Journal, bed: Bed, planting: Planting, since: date) -> list[float]:
    entries = journal.of(bed.key, planting.key, What.LIFTED)
    return [entry.value for entry in entries if entry.value is not None and entry.day >= since]
