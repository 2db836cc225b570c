"""The settings file as one pydantic model: what stands in it, its ranges, and what is assumed where it is silent."""

from datetime import date, datetime, time, timedelta
from difflib import get_close_matches
from typing import Annotated, Literal
from zoneinfo import ZoneInfo, available_timezones

from pydantic import StringConstraints, ValidationInfo, field_validator

from haulm.garden import Habit, Light, Maturity, Season, StoreKind
from haulm.settings.post_form import PostTable
from haulm.settings.quantities import (
    Count,
    DayCount,
    DistanceM,
    HourCount,
    LengthM,
    LocalDay,
    MailAddress,
    Number,
    Switch,
    Text,
    TimeOfDay,
    fault,
)
from haulm.settings.quantities import WarmthC as Warmth
from haulm.settings.table import Table, setting
from haulm.settings.thresholds import Thresholds
from haulm.settings.weather_form import WeatherTable
from haulm.units import Display

VERSION = 1
LONGEST_WINDOW_DAYS = 366  # a longer one has a slip in its year
# FAO-56 Table 19, and what raised beds are often filled with. Kept as words here so that reading settings
# does not import the numerical part; a test holds the two lists together.
Texture = Literal[
    "sand", "loamy sand", "sandy loam", "loam", "silt loam", "silt", "silty clay loam", "silty clay", "clay",
    "compost mix",
]  # fmt: skip
# Clocks stray from the sun by up to about 47 degrees, from memory (western China keeps the clock of Beijing);
# the limit is judgement, with room to spare.
FARTHEST_FROM_CLOCK_DEG = 60.0
Key = Annotated[str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9_-]*$")]


class PlaceTable(Table):
    """Where the beds lie."""

    name: Text = setting(..., "What the place is called in the letter.", example="Brackenford")
    key: Key | None = setting(
        None, "Names the garden in the store; the name of this file is used without it.", example="brackenford"
    )
    latitude: Number = setting(..., "Degrees north of the equator; south is negative.", example=44.0)
    longitude: Number = setting(..., "Degrees east of Greenwich; west is negative.", example=-90.0)
    elevation_m: DistanceM = setting(..., "How high the garden lies.", low=-450.0, high=6000.0, example="900 ft")
    zone: Text = setting(..., "The time zone, by its international name.", example="America/Chicago")
    units: Display = setting("metric", "The units the letter is written in: us or metric.", example="us")
    clear_night_offset_c: Warmth = setting(
        "1.5 C",
        "How much colder the garden is than the station on clear, calm nights.",
        "judgement",
        low=0.0,
        high=8.0,
    )

    @field_validator("latitude")
    @classmethod
    def _on_the_globe(cls, latitude: float) -> float:
        if abs(latitude) > 90.0:
            raise fault("no latitude goes beyond 90 degrees; perhaps latitude and longitude are swapped")
        return latitude

    @field_validator("longitude")
    @classmethod
    def _a_real_spot(cls, longitude: float, info: ValidationInfo) -> float:
        if abs(longitude) > 180.0:
            raise fault("no longitude goes beyond 180 degrees")
        if longitude == 0.0 and info.data.get("latitude") == 0.0:
            raise fault("latitude 0 and longitude 0 is a spot in the sea; write the garden's own", show=False)
        return longitude

    @field_validator("zone")
    @classmethod
    def _known_zone(cls, zone: str, info: ValidationInfo) -> str:
        try:
            clock = ZoneInfo(zone)
        except (KeyError, ValueError, OSError) as error:
            raise fault("no such time zone", nearest=_nearest_zone(zone)) from error
        longitude, kept = info.data.get("longitude"), _longitude_of(clock)
        if "/" in zone and not zone.startswith("Etc/") and longitude is not None:
            apart = abs((longitude - kept + 180.0) % 360.0 - 180.0)
            if apart > FARTHEST_FROM_CLOCK_DEG:
                raise fault(
                    f"this clock is kept near longitude {kept:g}, but the garden's is {longitude:g}; perhaps a sign is "
                    "missing, or latitude and longitude are swapped"
                )
        return zone


def _longitude_of(clock: ZoneInfo) -> float:
    """The longitude whose own noon a zone keeps in its standard time."""
    offsets = [datetime(2027, month, 1, tzinfo=clock).utcoffset() or timedelta() for month in (1, 7)]
    return min(offsets) / timedelta(hours=24) * 360.0


def _nearest_zone(written: str) -> str:
    zones = sorted(available_timezones())
    plain = {zone.casefold(): zone for zone in zones} | {zone.rsplit("/", 1)[-1].casefold(): zone for zone in zones}
    close = get_close_matches(written.strip().replace(" ", "_").casefold(), plain, n=1, cutoff=0.6)
    return plain[close[0]] if close else ""


class StrawTable(Table):
    """A depth of straw from one day on."""

    since: LocalDay = setting(..., "The day it was laid.", example=date(2026, 10, 20))
    depth_m: LengthM = setting(
        ..., "How deep all the straw then lay; 0 for raked off.", low=0.0, high=0.6, example="4 in"
    )


_AREA = "is missing: a bed without area cannot be watered; write its length and its width"


class BedTable(Table):
    """One bed."""

    name: Text | None = setting(None, "What the letter calls it; its key is used without it.", example="Gatebed")
    length_m: DistanceM = setting(..., "Length of the soil.", low=0.2, high=100.0, example="8 ft", missing=_AREA)
    width_m: DistanceM = setting(..., "Width of the soil.", low=0.2, high=100.0, example="4 ft", missing=_AREA)
    texture: Texture = setting(
        "loam", "The soil, as a class of FAO-56 Table 19, or compost mix.", "judgement", example="sandy loam"
    )
    soil_depth_m: LengthM = setting(
        "30 cm",
        "How deep roots can go: the soil in the bed, and what lies open below it.",
        "judgement",
        low=0.1,
        high=2.0,
        example="12 in",
    )
    raised_m: LengthM = setting(
        "0 cm",
        "How high its sides stand above the ground outside: they tie its soil closer to the air.",
        "judgement",
        low=0.0,
        high=1.5,
        example="10 in",
    )
    light: Light = setting(
        "open",
        "The sun it gets: open (all of it), half shade (six tenths) or shade (three tenths, as by a north wall).",
        "judgement",
        example="half shade",
    )
    straw: tuple[StrawTable, ...] = setting(
        (),
        "Straw that lay on it before the journal begins, by date.",
        example=[{"since": date(2026, 10, 20), "depth": "4 in"}],
    )


class PlantingTable(Table):
    """One crop in one bed: what is intended. What was done belongs in the journal."""

    bed: Text = setting(..., "The key of the bed it grows in.", example="gatebed")
    name: Text | None = setting(None, "What the letter calls it; its key is used without it.", example="Gate early")
    maturity: Maturity = setting(..., "How soon the variety ripens: early, mid or late.", example="early")
    habit: Habit | None = setting(
        None,
        "Whether the tops stop growing of themselves; assumed for early ones only.",
        "judgement",
        example="determinate",
    )
    season: Season = setting(..., "Planted into warming soil (spring) or cooling soil (autumn).", example="spring")
    spacing_m: LengthM = setting(
        "30 cm", "From seed to seed in the row.", "common practice, no source", low=0.1, high=1.0, example="12 in"
    )
    depth_m: LengthM = setting(
        "0 cm",
        "How deep the seed lies in the soil; 0 is laid on it, under the straw.",
        "common practice, no source",
        low=0.0,
        high=0.15,
    )
    window_first: LocalDay = setting(..., "The first day you would plant.", example=date(2027, 4, 10))
    window_last: LocalDay = setting(..., "The last day you would plant.", example=date(2027, 6, 5))

    @field_validator("window_last")
    @classmethod
    def _after_it_opens(cls, last: date, info: ValidationInfo) -> date:
        first = info.data.get("window_first")
        if first is not None and last < first:
            raise fault(f"the window closes before it opens on {first}")
        if first is not None and (last - first).days > LONGEST_WINDOW_DAYS:
            raise fault(f"the window is longer than a year: it opens on {first}")
        return last


class RecipientTable(Table):
    """Someone who gets the letter."""

    name: Text = setting(..., "Who it is.", example="The grower")
    address: MailAddress = setting(..., "The mail address.", example="grower@example.org")


class StoreTable(Table):
    """Where the potatoes are kept after lifting."""

    kind: StoreKind = setting(
        "cool room",
        "cool room (unheated, in the house), cellar, garage, shed or house (heated): how it follows the weather.",
        "judgement",
        example="cellar",
    )


class LetterTable(Table):
    """When the letter is written, and when the coming night is looked at again."""

    at: TimeOfDay = setting(
        "06:30", "The hour of the letter, on the garden's own clock; not between 00:30 and 03:30.", "judgement"
    )
    picture: Switch = setting(
        default=True,
        reason="A picture of the soil in each letter; drawing it takes most of a letter's time, which many feel.",
        basis="judgement",
    )
    evening: Switch = setting(
        default=True,
        reason="Look at the coming night again before dark, and write where it endangers something.",
        basis="judgement",
    )
    evening_hours_before_dusk: HourCount = setting(
        2, "So long before dusk, to leave time to act.", "judgement", low=1, high=6
    )
    evening_second_look: Switch = setting(
        default=True,
        reason="Look once more two hours after sunset, when the evening's own air tells most; only worse news is sent.",
        basis="judgement",
    )
    kept_days: DayCount = setting(
        400,
        "So long haulm's memory holds a letter in full: last year's of the same week can still be read. After that it "
        "holds what the letter said anew, its calls of frost, and to whom it went. Many gardens feel it: 20 KB a "
        "letter without its picture, 3 KB after.",
        "judgement",
        low=40,
        high=36500,
    )

    @field_validator("at")
    @classmethod
    def _not_in_the_lost_hour(cls, at: time) -> time:
        if time(0, 30) <= at <= time(3, 30):
            raise fault("clocks are put forward and back between 00:30 and 03:30; choose another hour")
        return at


class BackupsTable(Table):
    """How long copies of what haulm remembers are kept, in the folder backups where it keeps its state."""

    days: DayCount = setting(
        7,
        "One copy is made a day, after the letter; the newest of each of so many days is kept.",
        "judgement",
        low=1,
        high=60,
    )
    weeks: Count = setting(
        4,
        "And the newest of each of so many weeks. A copy grows by about 11 MB a year and garden.",
        "judgement",
        low=0,
        high=53,
    )
    tell_after_days: DayCount = setting(
        3, "The letter says so when there has been no copy for longer than this.", "judgement", low=1, high=60
    )


_NO_BED = "no bed is named; write one, like [beds.gatebed], with its length and width"


class SettingsFile(Table):
    """One garden: one place, its beds, plantings and recipients, and what its letters go by."""

    version: Count = setting(..., "The version of this file's form.", example=VERSION)
    place: PlaceTable = setting(..., "Where the beds lie.")
    beds: dict[Key, BedTable] = setting(
        ..., "One table a bed, under a key of your own.", key="gatebed", missing=_NO_BED
    )
    plantings: dict[Key, PlantingTable] = setting(
        {},
        "One table a crop, under a key of your own. A bed can hold two in one year, never at once.",
        key="gate-early",
    )
    recipients: dict[Key, RecipientTable] = setting({}, "One table a person, under a key of your own.", key="me")
    store: StoreTable = setting({}, "Where the potatoes are kept after lifting.")
    weather: WeatherTable = setting(..., "Where the weather comes from.")
    letter: LetterTable = setting({}, "When the letter is written.")
    post: PostTable = setting({}, "Where the letter goes.")
    backups: BackupsTable = setting({}, "How long copies of what haulm remembers are kept.")
    thresholds: Thresholds = setting({}, "What the advice goes by. Each has a default; write only what you change.")

    @field_validator("version")
    @classmethod
    def _known_version(cls, version: int) -> int:
        if version != VERSION:
            raise fault(f"this haulm reads version {VERSION}")
        return version

    @field_validator("beds")
    @classmethod
    def _some_bed(cls, beds: dict[str, BedTable]) -> dict[str, BedTable]:
        if not beds:
            raise fault(_NO_BED, show=False)
        return beds
