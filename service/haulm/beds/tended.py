"""Which plantings of a garden a morning looks at, and what its journal says of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from haulm.beds.chances import FrostYears, frost_years
from haulm.beds.earlier import NotedCrop, crops_noted
from haulm.beds.memo import Memo
from haulm.beds.noted import Noted, noted
from haulm.condition import SkyNow
from haulm.garden import Garden, Journal, Planting
from haulm.settings.thresholds import Thresholds
from haulm.taught import SeasonFits
from haulm.weather import Timeline

LOOKED_AHEAD = timedelta(days=100)  # a window further off than this is no news yet
LOOKED_BACK = timedelta(days=21)  # a crop never planted is forgotten so long after its window


@dataclass(frozen=True, slots=True, eq=False)
class Tended:
    """A garden on one morning: what stands in its journal then (`Journal.known`), and the sky over it.

    `seed_told` are the plantings whose seed has been spoken of: which kind would fit is not worked out again. `fits` is
    what is known of that already, by planting, and `frosts` what is known of the place's killing frosts.
    """

    garden: Garden
    journal: Journal
    thresholds: Thresholds
    sky: SkyNow
    seed_told: frozenset[str] = frozenset()
    fits: Mapping[str, SeasonFits | None] = field(default_factory=dict)
    frosts: FrostYears | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Looked:
    """A garden's plantings that are neither finished nor far off: those in a bed's soil or to be, and those kept.

    `holders` tells which planting is in a bed's soil, `crops` what the journal tells of all crops there were.
    """

    tended: Tended
    days: Mapping[str, Noted]
    crops: Sequence[NotedCrop]
    growing: tuple[Planting, ...]
    kept: tuple[Planting, ...]
    holders: Mapping[str, str]
    frosts: FrostYears

    @property
    def waits(self) -> bool:
        """Whether something is still to be planted."""
        return any(self.days[planting.key].planted is None for planting in self.growing)


def looked_at(tended: Tended, timeline: Timeline, memo: Memo) -> Looked:
    """A garden on the morning of a timeline's today."""
    garden, journal, today = tended.garden, tended.journal, timeline.today

    def days_noted() -> dict[str, Noted]:
        return {planting.key: noted(journal, planting) for planting in garden.plantings}

    days = memo.kept("noted", (journal, garden.plantings), days_noted)
    alive = [planting for planting in garden.plantings if _alive(planting, days[planting.key], today)]
    return Looked(
        tended,
        days,
        memo.kept("crops", (journal,), lambda: crops_noted(journal)),
        tuple(planting for planting in alive if not days[planting.key].is_kept(today)),
        tuple(planting for planting in alive if days[planting.key].is_kept(today)),
        {one.bed: one.key for one in alive if days[one.key].in_ground(today)},
        tended.frosts or frost_years(timeline, garden.place, tended.thresholds, memo),
    )


def _alive(planting: Planting, days: Noted, today: date) -> bool:
    if days.finished is not None:
        return False
    if days.chitting is None and days.planted is None and days.seed_bought is None:
        return planting.window_first - LOOKED_AHEAD <= today <= planting.window_last + LOOKED_BACK
    if days.planted is not None or days.out_of_ground is not None:
        return days.in_ground(today) or days.is_kept(today)
    return today <= planting.window_last + LOOKED_BACK
