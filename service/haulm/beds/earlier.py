"""What earlier crops of the garden teach the next one: when their shoots came, and how much warmth ripened them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from haulm.beds.crop import between_the_bounds
from haulm.beds.noted import LONGEST_SEASON
from haulm.condition import EarlierCrops
from haulm.garden import Cause, Entry, Garden, Journal, Planting, What
from haulm.science.development import P_DAYS_NEEDED, emergence_shares, p_days, way_of_seed
from haulm.weather import DAY, Daily, Days

# Judgement: what is usual weighs as much as two crops, no crop moves more than these ends, older crops are forgotten.
USUAL_WEIGHS = 2.0
SHOOTS_MOVE_MOST, WARMTH_MOVES_MOST = 0.5, 0.3
MOST_CROPS = 8
WARMTH_KNOWN_SHARE = 0.9  # judgement: of a crop's days, before its warmth is worth counting
CHITTED_WITHIN = timedelta(days=120)  # judgement: chitting noted earlier was of other seed


@dataclass(frozen=True, slots=True)
class NotedCrop:
    """One crop as the journal tells it."""

    planting: str
    planted: date
    chitting: date | None
    shoots: date
    of_age: date | None


def earlier_crops(
    noted: Sequence[NotedCrop], garden: Garden, planting: Planting, planted: date | None, soil_c: Daily, weather: Days
) -> EarlierCrops:
    """What the garden's other crops with noted shoots teach about this planting.

    Parameters
    ----------
    noted
        From `crops_noted`.
    planted
        The day of this planting's own crop, which is left out; None before it.
    soil_c
        Soil where this planting's seed lies: it stands for that of the other crops. Those planted before its first
        day tell nothing of shoots.
    weather
        The record, for the warmth of the days between shoots and age.
    """
    crops = [crop for crop in noted if (crop.planting, crop.planted) != (planting.key, planted)][-MOST_CROPS:]
    moves = [move for crop in crops if (move := _shoots_move(crop, soil_c)) is not None]
    shares = [share for crop in crops if (share := _warmth_share(crop, garden, weather)) is not None]
    return EarlierCrops(
        shoots_crops=len(moves),
        shoots_later_share=sum(moves) / (USUAL_WEIGHS + len(moves)),
        ripe_crops=len(shares),
        ripe_warmth_share=(USUAL_WEIGHS + sum(shares)) / (USUAL_WEIGHS + len(shares)),
    )


def crops_noted(journal: Journal) -> list[NotedCrop]:
    """Every crop whose shoots were noted, in the order of planting. A key may be used again in another year.

    Of a journal as it stands this morning (`Journal.known`).
    """
    found = []
    plantings = [entry for entry in journal.entries if entry.what is What.PLANTED]
    for at, begun in enumerate(plantings):
        again = next((e.day for e in plantings[at + 1 :] if e.planting == begun.planting and e.day > begun.day), None)
        until = min(again or date.max, begun.day + LONGEST_SEASON)
        own = [e for e in journal.entries if e.planting == begun.planting and e.day < until]
        shoots = _first(own, What.SHOOTS_OUT, begun.day)
        if shoots is None:
            continue
        age = [e for e in own if e.what is What.DYING_BACK and e.day > shoots]
        found.append(
            NotedCrop(
                begun.planting,
                begun.day,
                _first(own, What.CHITTING_BEGUN, begun.day - CHITTED_WITHIN),
                shoots,
                age[0].day if age and age[-1].cause is Cause.AGE else None,
            )
        )
    return found


def _first(entries: list[Entry], what: What, since: date) -> date | None:
    return next((entry.day for entry in entries if entry.what is what and entry.day >= since), None)


def _shoots_move(crop: NotedCrop, soil_c: Daily) -> float | None:
    """How much later than usual the shoots came, as a share of the way from the early bound to the late one."""
    if crop.planted < soil_c.first or crop.shoots <= crop.planted:
        return None
    shares = emergence_shares(soil_c.between(crop.planted + DAY, crop.shoots))
    stood = way_of_seed(float(shares.early[-1]), float(shares.late[-1]))
    if np.isnan(stood):
        return None
    usual, _ = between_the_bounds(crop.chitting, crop.planted)
    return float(np.clip(stood - usual, -SHOOTS_MOVE_MOST, SHOOTS_MOVE_MOST))


def _warmth_share(crop: NotedCrop, garden: Garden, weather: Days) -> float | None:
    """Warmth from the shoots to tops that went down of age, as a share of what the class needs."""
    planting = next((one for one in garden.plantings if one.key == crop.planting), None)
    if crop.of_age is None or planting is None:
        return None
    last = crop.of_age - DAY
    had = p_days(weather.of("air_min_c").between(crop.shoots, last), weather.of("air_max_c").between(crop.shoots, last))
    known = np.isfinite(had)
    if not had.size or known.mean() < WARMTH_KNOWN_SHARE:
        return None
    share = float(had[known].mean() * had.size) / P_DAYS_NEEDED[planting.maturity.value]
    return float(np.clip(share, 1.0 - WARMTH_MOVES_MOST, 1.0 + WARMTH_MOVES_MOST))
