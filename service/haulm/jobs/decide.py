"""All that a morning thinks, as one pure function: no clock, no files, no network.

Nothing dated or received after `as_of` changes its answer: the record, the forecasts, the journal and the memory
are each cut to what was known then before anything else looks at them.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from haulm.advice import Decision, Said
from haulm.alerts.outcome import frost_outcomes
from haulm.alerts.rules import RULES, RULES_OF, SKY_RULES
from haulm.alerts.seed import BUY_SEED, IN_VAIN, OFF_WINDOW
from haulm.alerts.select import Judged, Open, before, in_order, let_go, open_episodes, select
from haulm.beds.conditions import conditions_of_all
from haulm.beds.forcing import PlaceMean
from haulm.beds.in_step import Course, finished
from haulm.beds.memo import Memo
from haulm.beds.outside import Outside, PlaceWeather, outside_of
from haulm.beds.rain import with_rain_chances
from haulm.beds.sky import sky_now
from haulm.beds.tended import Tended
from haulm.condition import Condition, SkyNow
from haulm.errors import own_fault
from haulm.garden import Entry, Garden, Journal, Place, Planting, What
from haulm.settings.thresholds import Thresholds
from haulm.sources.bridge import timeline
from haulm.weather import Forecast, Record, Timeline

WEEK_DAYS = 7


@dataclass(frozen=True, slots=True)
class Asking:
    """A garden that asks what to say, with all its entries and episodes; later ones are left out of the answer."""

    garden: Garden
    thresholds: Thresholds
    journal: Journal
    memory: tuple[Said, ...]


def decide(  # noqa: PLR0913  the ninth and tenth are no input: they cannot change the answer
    garden: Garden,
    thresholds: Thresholds,
    as_of: datetime,
    record: Record | None,
    forecasts: Sequence[Forecast],
    journal: Journal,
    memory: Iterable[Said],
    told: PlaceMean | None = None,
    *,
    memo: Memo | None = None,
    outside: Outside | None = None,
) -> Decision:
    """What to say on the morning of `as_of`.

    Parameters
    ----------
    garden, thresholds
        From the settings.
    as_of
        An aware instant; its local day at the place is the morning's.
    record, forecasts
        All that is held; later or not yet received parts are left out here.
    journal, memory
        All entries and all episodes; later ones are left out here.
    told
        What the settings say of the place's mean year, for a short record.
    memo
        Lent by whoever runs many mornings in a row, so that each need not begin anew; it changes no answer.
    outside
        What `outside_now` found of the same, where that was worked out ahead; it changes no answer.
    """
    asking = Asking(garden, thresholds, journal, tuple(memory))
    return finished(decide_all([asking], as_of, record, forecasts, told, memo=memo, outside=outside))[0]


def outside_now(
    garden: Garden,
    thresholds: Thresholds,
    as_of: datetime,
    record: Record | None,
    forecasts: Sequence[Forecast],
    journal: Journal,
    told: PlaceMean,
    memo: Memo,
) -> Outside:
    """What a morning knows before it looks at any bed, from what `decide` will be given."""
    known = _known_with_chances(garden, thresholds, as_of, record, forecasts)
    noted = journal.known(as_of, known.today)
    return outside_of(known, garden, thresholds, as_of, noted, forecasts, told, memo)


def decide_all(
    asking: Sequence[Asking],
    as_of: datetime,
    record: Record | None,
    forecasts: Sequence[Forecast],
    told: PlaceMean | None = None,
    *,
    memo: Memo | None = None,
    outside: Outside | None = None,
) -> Course[list[Decision]]:
    """The same for gardens of one place, whose beds are worked out in one go: each answer is what `decide` gives.

    A course, so that other places may go beside it. `outside` is that of a single garden.

    Raises
    ------
    ValueError
        They do not lie at one place, or take its weather differently (`Thresholds.data`).
    """
    first = asking[0]
    place, memo = first.garden.place, memo or Memo(goes_on=False)
    if any((one.garden.place, one.thresholds.data) != (place, first.thresholds.data) for one in asking[1:]):
        raise ValueError("only gardens of one place can be worked out together")
    known = outside.known if outside else _known_with_chances(first.garden, first.thresholds, as_of, record, forecasts)
    skies = _Skies(known, place, as_of, forecasts, memo)
    tended = []
    for one in asking:
        noted = one.journal.known(as_of, known.today)
        sky = outside.sky if outside else skies.over(noted, one.thresholds)
        seed_told = _seed_told(before(one.memory, known.today), known.today)
        known_ahead = (outside.fits, outside.frosts) if outside else ({}, None)
        tended.append(Tended(one.garden, noted, one.thresholds, sky, seed_told, *known_ahead))
    together = yield from _together(tended, known, told or PlaceMean(), memo, outside.weather if outside else None)
    return [
        _decided(one, own.memory, found, known, as_of, told or PlaceMean())
        for one, own, found in zip(tended, asking, together, strict=True)
    ]


@dataclass(frozen=True, slots=True)
class _Skies:
    """The sky over the gardens of a place: one for all that want the same of it and read no nights of their own."""

    known: Timeline
    place: Place
    as_of: datetime
    forecasts: Sequence[Forecast]
    memo: Memo
    found: list[tuple[Thresholds, tuple[Entry, ...], SkyNow]] = field(default_factory=list)

    def over(self, noted: Journal, thresholds: Thresholds) -> SkyNow:
        """The sky for a garden's notes and thresholds."""
        nights = tuple(entry for entry in noted.entries if entry.what is What.NIGHT_READ)
        for held, read, sky in self.found:
            if (nights, thresholds) == (read, held):  # as parts of a pair, the same object is equal at once
                return sky
        sky = sky_now(self.known, self.place, thresholds, self.as_of, noted, self.forecasts, self.memo)
        self.found.append((thresholds, nights, sky))
        return sky


Found = tuple[tuple[Condition, ...], tuple[str, ...]]


def _together(
    tended: Sequence[Tended], known: Timeline, told: PlaceMean, memo: Memo, weather: PlaceWeather | None = None
) -> Course[list[Found]]:
    """What is so in the beds of all gardens; where a fault of haulm's own stops that, of each by itself."""
    try:
        found = yield from conditions_of_all(tended, known, told, memo, weather)
    except Exception as fault:  # noqa: BLE001  which garden it was, and what, is found out one by one
        if len(tended) > 1:
            return [finished(_together([one], known, told, Memo(goes_on=False)))[0] for one in tended]
        return [_apart(tended[0], fault, lambda one: finished(conditions_of_all([one], known, told))[0])]
    return [(conditions, ()) for conditions in found]


def _decided(
    tended: Tended, memory: tuple[Said, ...], found: Found, known: Timeline, as_of: datetime, told: PlaceMean
) -> Decision:
    thresholds, sky, remembered = tended.thresholds, tended.sky, before(memory, known.today)
    conditions, faults = found
    open_said = open_episodes(remembered)
    try:
        of_beds = _of_the_beds(conditions, thresholds, open_said)
    except Exception as fault:  # noqa: BLE001  told in the letter, and the others go on

        def alone(one: Tended) -> tuple[Condition, ...]:
            apart = finished(conditions_of_all([one], known, told))[0]
            _of_the_beds(apart, thresholds, open_said)
            return apart

        conditions, faults = _apart(tended, fault, alone)
        of_beds = _of_the_beds(conditions, thresholds, open_said)
    alerts, after = select([*_of_the_sky(sky, thresholds, open_said), *of_beds], remembered, known.today)
    if not faults:  # what was said of a planting that could not be looked at still stands
        after = let_go(after, {condition.planting.key for condition in conditions}, known.today)
    outcomes, told_now = frost_outcomes(conditions, remembered, thresholds)
    after = tuple({(one.rule, one.bed, one.planting, one.episode): one for one in (*after, *told_now)}.values())
    alerts = in_order([*alerts, *outcomes])
    return Decision(tended.garden, as_of, known.today, known, conditions, alerts, after, faults=faults)


def _apart(tended: Tended, fault: Exception, look: Callable[[Tended], tuple[Condition, ...]]) -> Found:
    """Each planting by itself, so that one spoils no other; a garden with a single one is not looked at twice.

    This and the outermost of the command are the only places that catch every kind of fault.
    """
    garden = tended.garden
    if len(garden.plantings) == 1:
        return (), (_own_fault(garden, garden.plantings[0], fault),)
    conditions: list[Condition] = []
    faults: list[str] = []
    for planting in garden.plantings:
        try:
            found = look(replace(tended, garden=replace(garden, plantings=(planting,))))
        except Exception as own:  # noqa: BLE001  told in the letter, and the others go on
            faults.append(_own_fault(garden, planting, own))
        else:
            conditions += [replace(condition, garden=garden) for condition in found]
    return tuple(conditions), tuple(faults)


def _seed_told(memory: Iterable[Said], today: date) -> frozenset[str]:
    """The plantings whose grower has been told what seed to buy, or that none would do.

    Where other days would do, it is asked again each week: the window may have been moved.
    """
    spoke = (said for said in open_episodes(memory).values() if said.rule == BUY_SEED and said.verdict != IN_VAIN)
    return frozenset(
        said.planting
        for said in spoke
        if said.verdict != OFF_WINDOW or (today - date.fromisoformat(said.episode)).days % WEEK_DAYS
    )


def _own_fault(garden: Garden, planting: Planting, fault: Exception) -> str:
    """Which planting could not be worked out, and where in the program that was."""
    return (
        f"{planting.name} in {garden.bed(planting.bed).name} could not be worked out, by {own_fault(fault)}: "
        "what this letter says nothing of may need doing there"
    )


def known_weather(
    garden: Garden, thresholds: Thresholds, as_of: datetime, record: Record | None, forecasts: Sequence[Forecast]
) -> Timeline:
    """The weather as it was known at an instant, gaps filled and forecasts taken as the thresholds have it."""
    return timeline(
        record,
        forecasts,
        as_of,
        garden.place.day_of(as_of),
        ZoneInfo(garden.place.zone),
        gap_fill_days=thresholds.data.gap_fill_days,
        forecast_max_age=timedelta(hours=thresholds.data.forecast_max_age_hours),
    )


def _known_with_chances(
    garden: Garden, thresholds: Thresholds, as_of: datetime, record: Record | None, forecasts: Sequence[Forecast]
) -> Timeline:
    known = known_weather(garden, thresholds, as_of, record, forecasts)
    return with_rain_chances(known, forecasts, garden.place, as_of)


def _of_the_sky(sky: SkyNow, thresholds: Thresholds, open_said: Open) -> list[Judged]:
    judged = []
    for rule in SKY_RULES:
        answer = rule.judge(sky, thresholds, open_said.get((rule.key, "", "")))
        judged.append(Judged(rule.key, rule.speaks, "", "", None, in_stage=True, answer=answer))
    return judged


def _of_the_beds(conditions: Iterable[Condition], thresholds: Thresholds, open_said: Open) -> list[Judged]:
    """What the rules have to say of each planting: an answer, or the end of what was said."""
    judged = []
    spoken_of = {(bed, planting) for _, bed, planting in open_said}
    for condition in conditions:
        bed, planting, stage = condition.bed.key, condition.planting.key, condition.stage.stage
        for rule in RULES if (bed, planting) in spoken_of else RULES_OF[stage]:
            in_stage = stage in rule.stages and not rule.put_off(condition, thresholds)
            held = open_said.get((rule.key, bed, planting))
            answer = rule.judge(condition, thresholds, held) if in_stage else None
            if answer is not None or held is not None:
                tells_end = in_stage and not rule.ends_unsaid
                judged.append(Judged(rule.key, rule.speaks, bed, planting, stage, tells_end, answer))
    return judged
