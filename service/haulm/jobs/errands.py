"""What haulm has to do on a day, and from when until when: the morning's letter, and the looks at the coming night."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from haulm.beds.dusk import evening_of, look_at, second_look_at
from haulm.settings.load import Settings
from haulm.store.runs import Run

MORNING, EVENING = "morning", "evening"
# A bed can be covered in the dark too, with a torch, for a while: judgement.
STILL_WORTH_IT = timedelta(hours=2)
LAST_MINUTE = time(23, 45)


@dataclass(frozen=True, slots=True)
class Errand:
    """One thing to do on a local day.

    Attributes
    ----------
    name
        For the log: "morning", "evening look", "second look".
    command
        The word that starts it; its runs bear the same name as their kind.
    at, until
        The hours on the garden's own clock from which and up to which it is done.
    done
        What is so once it is done.
    begins
        Runs that began before this instant are not this errand's; None where any of the day's is.
    hands_over
        Whether letters that wait are its business.
    """

    name: str
    command: str
    at: time
    until: time
    done: str
    begins: datetime | None = None
    hands_over: bool = False

    @property
    def told(self) -> str:
        """What becomes of it where it was not done: a morning's matter is told by the next letter, a night is past."""
        return "; the next letter tells of it" if self.command == MORNING else ""

    def runs_of(self, runs: Iterable[Run]) -> tuple[Run, ...]:
        """The runs that are this errand's, or an earlier day's."""
        same = (run for run in runs if run.kind == self.command)
        return tuple(run for run in same if self.begins is None or run.started >= self.begins)


def errands(settings: Settings, day: date) -> tuple[Errand, ...]:
    """The errands of a local day, in their order."""
    until = settings.thresholds.data.letter_catch_up_until
    letter = Errand("morning", MORNING, settings.letter.at, until, "the letter is written and handed over")
    return letter, *evening_errands(settings, day)


def evening_errands(settings: Settings, day: date) -> tuple[Errand, ...]:
    """The looks at the coming night, as the settings want them."""
    letter, place = settings.letter, settings.garden.place
    if not letter.evening:
        return ()
    look = look_at(place, day, timedelta(hours=letter.evening_hours_before_dusk))
    again = second_look_at(place, day) if letter.evening_second_look else None
    last = _clock(evening_of(place, day).dark + STILL_WORTH_IT, day, place.zone)
    found = [_look("evening look", look, day, place.zone, last)]
    if again is not None and again > look:
        found.append(_look("second look", again, day, place.zone, LAST_MINUTE))
    return tuple(found)


def _look(name: str, at: datetime, day: date, zone: str, until: time) -> Errand:
    # To the second, as the hour is: a run that begins at its very instant is this look's.
    begins = at.replace(microsecond=0)
    return Errand(name, EVENING, _clock(begins, day, zone), until, "the coming night is looked at", begins)


def _clock(instant: datetime, day: date, zone: str) -> time:
    """The hour on the garden's clock, to the second, and not past the day's last quarter of an hour."""
    local = instant.astimezone(ZoneInfo(zone))
    latest = datetime.combine(day, LAST_MINUTE, ZoneInfo(zone))
    return min(local.astimezone(UTC), latest.astimezone(UTC)).astimezone(ZoneInfo(zone)).time().replace(microsecond=0)
