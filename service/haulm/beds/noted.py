"""What the journal says about one planting: the days noted, the straw that lies, the waterings."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from haulm.condition import DayRange, StageNow
from haulm.garden import Bed, Cause, Entry, Journal, Planting, Stage, What
from haulm.weather import FloatArray

SEED_BEFORE_WINDOW = timedelta(days=250)  # judgement: seed is bought in autumn for spring at the earliest
LONGEST_SEASON = timedelta(days=240)  # judgement: a crop nobody noted as lifted has left the bed by then
UNSTORED = timedelta(days=28)  # judgement: what was lifted so long ago lies somewhere by now, noted or not
LONGEST_KEPT = timedelta(days=365)  # judgement: a crop nobody noted as finished is eaten up by then


@dataclass(frozen=True, slots=True)
class Noted:
    """Days of one planting as the grower noted them; None where nothing was noted.

    `frosted` alone is no note: the frost that killed the tops, where one was measured and nothing was noted.
    """

    seed_bought: date | None = None
    chitting: date | None = None
    planted: date | None = None
    shoots: date | None = None
    dying: date | None = None
    dying_cause: Cause | None = None
    tops_dead: date | None = None
    tops_cut: date | None = None
    cut_again: date | None = None
    frosted: date | None = None
    lifted: date | None = None
    stored: date | None = None
    sprouting: date | None = None
    blight: bool = False
    finished: date | None = None
    seed_cut: date | None = None

    def in_ground(self, today: date) -> bool:
        """Planted and not yet lifted; a crop that nobody noted as lifted does not hold its bed for ever."""
        if self.planted is None or self.out_of_ground is not None or self.finished is not None:
            return False
        return today <= self.planted + LONGEST_SEASON

    def is_kept(self, today: date) -> bool:
        """Lifted, and as far as is known not yet eaten up."""
        lifted = self.out_of_ground
        return lifted is not None and self.finished is None and today <= lifted + LONGEST_KEPT

    @property
    def out_of_ground(self) -> date | None:
        """When it was lifted; the day it came into the store where only that was noted."""
        return self.lifted or self.stored

    @property
    def tops_gone(self) -> date | None:
        """When the tops were wholly dead or cut, whichever came first; again when new shoots were cut.

        Where neither was noted: the frost that killed them by estimate.
        """
        first = min((day for day in (self.tops_dead, self.tops_cut) if day), default=self.frosted)
        return self.cut_again or first


def noted(journal: Journal, planting: Planting) -> Noted:
    """The days of a planting; the first entry of a kind counts, but the last word on why the tops go down.

    A key that was used in an earlier year as well brings nothing of that year along.
    """
    begins = planting.window_first - SEED_BEFORE_WINDOW
    entries = [e for e in journal.of(planting.bed, planting.key) if e.planting == planting.key and e.day >= begins]

    def first(what: What) -> date | None:
        return next((entry.day for entry in entries if entry.what is what), None)

    causes = [entry.cause for entry in entries if entry.what is What.DYING_BACK]
    return Noted(
        seed_bought=first(What.SEED_BOUGHT),
        chitting=first(What.CHITTING_BEGUN),
        planted=first(What.PLANTED),
        shoots=first(What.SHOOTS_OUT),
        dying=first(What.DYING_BACK),
        dying_cause=(causes[-1] or Cause.UNKNOWN) if causes else None,
        tops_dead=first(What.TOPS_DEAD),
        tops_cut=first(What.TOPS_CUT),
        cut_again=_cut_again(entries),
        lifted=first(What.LIFTED),
        stored=first(What.INTO_STORE),
        sprouting=_sprouting(entries),
        blight=Cause.BLIGHT in causes,
        finished=first(What.FINISHED),
        seed_cut=first(What.SEED_CUT),
    )


def _cut_again(entries: list[Entry]) -> date | None:
    """The last time new shoots were cut, after the tops themselves; dead tops cleared away are no new shoots."""
    cuts = [entry.day for entry in entries if entry.what is What.TOPS_CUT]
    return cuts[-1] if len(cuts) > 1 else None


def _sprouting(entries: list[Entry]) -> date | None:
    """The first sprouts seen after lifting: those of the seed before planting are another matter."""
    lifted = next((entry.day for entry in entries if entry.what is What.LIFTED), None)
    seen = (entry.day for entry in entries if entry.what is What.SPROUTING)
    return next((day for day in seen if lifted is not None and day >= lifted), None)


def stage_now(days: Noted, shoots: DayRange | None, today: date) -> StageNow:
    """The furthest stage that was noted; between planting and the tops' end, the shoots may be an estimate."""
    stored = _stored_unsaid(days, today)
    if stored is not None:
        return StageNow(Stage.STORED, stored, stored, stored, noted=False)
    reached = (
        (Stage.FINISHED, days.finished),
        (Stage.STORED, days.stored),
        (Stage.LIFTED, days.lifted),
        (Stage.SKINS_SETTING, days.tops_gone),
        (Stage.DYING_BACK, days.dying),
        (Stage.EMERGED, days.shoots),
    )
    for stage, since in reached:
        if since is not None:
            return StageNow(stage, since, since, since, noted=since != days.frosted)
    if days.planted is not None:
        if shoots is not None and shoots.likely is not None and shoots.likely <= today:
            return StageNow(Stage.EMERGED, shoots.likely, shoots.early, shoots.late, noted=False)
        return StageNow(Stage.PLANTED, days.planted, days.planted, days.planted, noted=True)
    if days.chitting is not None:
        return StageNow(Stage.CHITTING, days.chitting, days.chitting, days.chitting, noted=True)
    return StageNow(
        Stage.SEED, days.seed_bought, days.seed_bought, days.seed_bought, noted=days.seed_bought is not None
    )


def _stored_unsaid(days: Noted, today: date) -> date | None:
    """From when on a lifted crop counts as stored, though nobody noted it."""
    if days.lifted is None or days.stored is not None or days.finished is not None:
        return None
    since = days.lifted + UNSTORED
    return since if today >= since else None


def straw_depths_m(bed: Bed, journal: Journal, first: date, count: int) -> FloatArray:
    """Depth of straw on each day: as set for the bed, then as noted; the newest word before a day holds."""
    depths = np.zeros(count)
    for since, depth_m in straw_changes(bed, journal):
        depths[max((since - first).days, 0) :] = depth_m
    return depths


def straw_changes(bed: Bed, journal: Journal) -> list[tuple[date, float]]:
    """Every change of the straw on a bed, oldest first: the day and the depth that lay from then on.

    On one day the journal has the last word.
    """
    changes = [(straw.since, 0, straw.depth_m) for straw in bed.straw]
    changes += [
        (entry.day, 1, entry.value or 0.0) for entry in journal.of(bed.key, "", What.STRAW_LAID, What.STRAW_RAKED)
    ]
    return [(day, depth_m) for day, _, depth_m in sorted(changes, key=lambda change: change[:2])]


def last_laid(bed: Bed, journal: Journal, today: date) -> date | None:
    """The last day on which straw was laid, by the journal or by the settings."""
    laid = [entry.day for entry in journal.of(bed.key, "", What.STRAW_LAID)]
    laid += [straw.since for straw in bed.straw if straw.depth_m > 0]
    return max((day for day in laid if day <= today), default=None)


def last_under_water(bed: Bed, journal: Journal) -> date | None:
    """The last day on which water was noted standing on the bed."""
    return max((entry.day for entry in journal.of(bed.key, "", What.STANDING_WATER)), default=None)


def last_without_shoots(planting: Planting, journal: Journal) -> date | None:
    """The last day on which somebody looked and found no shoots yet."""
    looks = (entry for entry in journal.of(planting.bed, planting.key, What.NO_SHOOTS) if entry.planting)
    return max((entry.day for entry in looks), default=None)


def watered_mm(bed: Bed, journal: Journal, first: date, count: int) -> FloatArray:
    """Waterings a day, in mm over the bed."""
    return _per_day(journal.of(bed.key, "", What.WATERED), first, count)


def rain_read_mm(bed: Bed, journal: Journal, first: date, count: int) -> FloatArray:
    """The grower's own rain gauge, NaN on days not read."""
    entries = journal.of(bed.key, "", What.RAIN_READ)
    days = {(entry.day - first).days for entry in entries if entry.value is not None}
    held = sorted(day for day in days if 0 <= day < count)
    read = np.full(count, np.nan)
    read[held] = _per_day(entries, first, count)[held]
    return read


def _per_day(entries: tuple[Entry, ...], first: date, count: int) -> FloatArray:
    amounts = np.zeros(count)
    for entry in entries:
        position = (entry.day - first).days
        if 0 <= position < count and entry.value is not None:
            amounts[position] += entry.value
    return amounts
