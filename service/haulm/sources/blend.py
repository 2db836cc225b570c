"""Several stations as one record: each value from the best station that has it, and a note of which that was.

Air temperatures of the record are the first station's own. Where it has none, a neighbour's, moved by the mean
difference between the two, stands in `fills`, apart from what was observed. Rain comes from the nearest good gauge
that has the day, never from an average: a mean of two gauges is wet on days when neither garden was.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from haulm.sources.bridge import day_end
from haulm.sources.readings import IDS, IdArray, Reading
from haulm.weather import DAY, QUANTITIES, Days, FloatArray, Origin, Record, unknown_days

Mask = NDArray[np.bool_]
AIR = ("air_min_c", "air_max_c")
NOBODY = -1


@dataclass(frozen=True, slots=True)
class Blending:
    """When a neighbour may help (all judgement).

    Attributes
    ----------
    common_days
        A neighbour's air temperatures are used only if both stations have at least this many days in common.
    gauge_share
        A good gauge has told rain on at least this share of its days, in the `gauge_days` before the day in question.
    gauge_trial_days
        Days after its first by which a gauge is judged for these days too.
    gauge_limit_km
        A gauge farther away than this says nothing about the garden's rain. One of unknown distance counts as near, but
        comes after those whose distance is known, unless it is the first station.
    """

    common_days: int = 30
    gauge_share: float = 0.8
    gauge_days: int = 365
    gauge_trial_days: int = 30
    gauge_limit_km: float = 40.0


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where one value came from: the station, the source the station's network names, the correction added (°C)."""

    origin: Origin
    source_id: str
    correction_c: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Blend:
    """The one record of several stations.

    Attributes
    ----------
    record
        Observed values only: air temperatures of the first station, rain of the nearest good gauge of each day, the
        rest of the first station that has it. Its origin is the first station's.
    fills
        Air temperatures of neighbours, corrected, on the days when the first station has none: to be marked as filled.
    fills_received
        When they came, as in a `Record`.
    stations
        The readings' origins, in order of preference.
    chosen
        For each quantity the position in `stations` of each day's value, -1 where there is none.
    corrections_c
        For each air temperature what was added to each station's values; NaN where too few days were common.
    """

    record: Record
    fills: Days
    fills_received: FloatArray
    stations: tuple[Origin, ...]
    chosen: Mapping[str, NDArray[np.int8]]
    ids: Mapping[str, IdArray]
    corrections_c: Mapping[str, FloatArray]

    def provenance(self, quantity: str, day: date) -> Provenance | None:
        """Where a day's value came from; None if there is none."""
        at = (day - self.record.days.first).days
        if not 0 <= at < len(self.record.days) or self.chosen[quantity][at] == NOBODY:
            return None
        station = int(self.chosen[quantity][at])
        correction = float(self.corrections_c[quantity][station]) if quantity in AIR else 0.0
        return Provenance(self.stations[station], str(self.ids[quantity][at]), correction)


def blend(readings: Sequence[Reading], zone: ZoneInfo, how: Blending = Blending()) -> Blend:
    """One record of one or more stations in order of preference.

    Give it only what was known at the instant in question: the corrections are means over all days given.

    Raises
    ------
    ValueError
        There is no reading.
    """
    if not readings:
        raise ValueError("there is no reading to blend")
    records = [one.record for one in readings]
    first = min(record.days.first for record in records)
    last = max(record.days.last for record in records)
    grids = {name: _grid(records, name, first, last) for name in QUANTITIES}
    corrections = {name: _corrections(grids[name], how.common_days) for name in AIR}
    for name in AIR:
        grids[name] = grids[name] + corrections[name][:, None]
    order = list(range(len(records)))
    chosen = {name: _first_known(np.isfinite(grids[name]), order) for name in QUANTITIES}
    chosen["rain_mm"] = _gauge_of_each_day(records, np.isfinite(grids["rain_mm"]), how)
    taken = {name: _taken(grids[name], chosen[name]) for name in QUANTITIES}
    own = {name: np.where(chosen[name] == 0, taken[name], np.nan) if name in AIR else taken[name] for name in taken}
    fills = {name: np.where(chosen[name] > 0, taken[name], np.nan) for name in AIR}
    observing = np.stack([_used(chosen, at, [n for n in QUANTITIES if at == 0 or n not in AIR]) for at in order])
    helping = np.stack([_used(chosen, at, AIR if at else ()) for at in order])
    received = _received(records, observing, first, zone)
    return Blend(
        Record(records[0].origin, Days(first, **own), received, records[0].usual_delay),
        unknown_days(first, (last - first).days + 1, **fills),
        _received(records, helping, first, zone),
        tuple(record.origin for record in records),
        chosen,
        {name: _chosen_ids(readings, name, chosen[name], first) for name in QUANTITIES},
        corrections,
    )


def _grid(records: Sequence[Record], name: str, first: date, last: date) -> FloatArray:
    return np.stack([record.days.of(name).between(first, last) for record in records])


def _corrections(values: FloatArray, common_days: int) -> FloatArray:
    """What to add to each station's values so that they fit the first one's, (stations,); NaN if too few are common."""
    found = np.full(len(values), np.nan)
    found[0] = 0.0
    for at in range(1, len(values)):
        difference = values[0] - values[at]
        known = np.isfinite(difference)
        if known.sum() >= max(common_days, 1):
            found[at] = difference[known].mean()
    return found


def _gauge_of_each_day(records: Sequence[Record], known: Mask, how: Blending) -> NDArray[np.int8]:
    """The nearest good gauge with the day; for want of one the first station, which the grower chose."""
    distances = [record.origin.distance_km for record in records]
    near = np.array([away is None or away <= how.gauge_limit_km for away in distances])
    good = known & near[:, None] & np.stack([_is_good(one, how) for one in known])
    chosen = _first_known(good, _nearest_first(distances))
    chosen[(chosen == NOBODY) & known[0]] = 0
    return chosen


def _nearest_first(distances: Sequence[float | None]) -> list[int]:
    """One of unknown distance comes after those known to be near; but the first, which the grower chose, is at hand."""
    far = [(0.0 if at == 0 else np.inf) if away is None else away for at, away in enumerate(distances)]
    return sorted(range(len(far)), key=lambda at: (far[at], at))


def _is_good(known: Mask, how: Blending) -> Mask:
    """Day by day whether a gauge had told enough until then: days that follow do not change what a day was given."""
    if not known.any():
        return known
    day = np.arange(len(known))
    first = int(np.argmax(known))
    judged = np.maximum(day, min(first + how.gauge_trial_days, len(known)) - 1)
    start = np.maximum(judged - how.gauge_days + 1, first)
    told = np.concatenate([[0], np.cumsum(known)])
    share = (told[judged + 1] - told[start]) / (judged + 1 - start)
    return np.asarray(share >= how.gauge_share)


def _first_known(known: Mask, order: Sequence[int]) -> NDArray[np.int8]:
    chosen = np.full(known.shape[1], NOBODY, dtype=np.int8)
    for at in reversed(order):
        chosen[known[at]] = at
    return chosen


def _taken(values: FloatArray, chosen: NDArray[np.int8]) -> FloatArray:
    return np.where(chosen == NOBODY, np.nan, values[chosen, np.arange(values.shape[1])])


def _chosen_ids(readings: Sequence[Reading], name: str, chosen: NDArray[np.int8], first: date) -> IdArray:
    ids = np.full(len(chosen), "", dtype=IDS)
    for at, reading in enumerate(readings):
        if name in reading.ids:
            offset = (reading.record.days.first - first).days
            inside = np.flatnonzero(chosen == at)
            ids[inside] = reading.ids[name][inside - offset]
    return ids


def _used(chosen: Mapping[str, NDArray[np.int8]], at: int, of: Sequence[str]) -> Mask:
    """The days on which a station gave one of some quantities."""
    used = np.zeros(len(chosen[QUANTITIES[0]]), dtype=bool)
    for name in of:
        used |= chosen[name] == at
    return used


def _received(records: Sequence[Record], used: Mask, first: date, zone: ZoneInfo) -> FloatArray:
    """When the last of a day's values came; NaN if there are none, or if one station gave them and noted no time."""
    noted = np.full(used.shape, np.nan)
    for at, record in enumerate(records):
        offset = (record.days.first - first).days
        noted[at, offset : offset + len(record.days)] = record.received
    unnoted = used & np.isnan(noted)
    latest = np.asarray(np.fmax.reduce(np.where(used, noted, np.nan)), dtype=np.float64)
    for day in np.flatnonzero(unnoted.any(axis=0) & (used.sum(axis=0) > 1)):
        # Of several stations, one whose coming was not noted counts as come after its own usual delay.
        ended = day_end(first + int(day) * DAY, zone)
        usual = [ended + records[int(at)].usual_delay for at in np.flatnonzero(unnoted[:, day])]
        latest[day] = np.fmax(latest[day], max(usual).timestamp())
    return latest
