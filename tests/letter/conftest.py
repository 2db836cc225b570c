"""Small decisions to write letters from: an invented garden, its weather, and alerts with the facts rules give."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from haulm.advice import Alert, Decision, Section
from haulm.bed_water import WaterNow
from haulm.condition import Condition, CropNow, DayRange, SeasonChances, SkyNow, SoilNow, StageNow
from haulm.garden import Bed, Garden, Habit, Maturity, Place, Planting, Season, Stage
from haulm.science.frost import normal_cdf
from haulm.settings.thresholds import Thresholds
from haulm.units import Display
from haulm.weather import Daily, Gap, Mark, Origin, Timeline, unknown_days

TODAY = date(2026, 4, 14)
AS_OF = datetime(2026, 4, 14, 6, 30, tzinfo=UTC)
BACK, AHEAD = 40, 10
STATION = Origin("1234", "Brackenford Mill", "Weather data: Invented Weather Record, CC BY 4.0", 6.4, 38.0)
FORECASTER = Origin("invented", "Invented Forecast Office", "Forecast: Invented Forecast Office, CC BY 4.0")
NAN = float("nan")


@pytest.fixture
def thresholds():
    return Thresholds()


@pytest.fixture
def garden_of():
    def build(display=Display.METRIC, bed="Gatebed", place="Brackenford"):
        return Garden(
            key="brackenford",
            place=Place(place, 51.5, -1.2, 90.0, "Europe/London", display, 1.5),
            beds=(Bed("gatebed", bed, 2.4, 1.2, "loam", 0.3), Bed("wallbed", "Wallbed", 3.0, 1.0, "loam", 0.3)),
            plantings=(
                Planting(
                    "gate-early", "gatebed", "the early potatoes", Maturity.EARLY, Habit.DETERMINATE, Season.SPRING,
                    0.3, 0.05, date(2026, 4, 1), date(2026, 5, 20),
                ),
                Planting(
                    "wall-late", "wallbed", "the late potatoes", Maturity.LATE, Habit.INDETERMINATE, Season.SPRING,
                    0.35, 0.0, date(2026, 4, 10), date(2026, 5, 31),
                ),
            ),
        )  # fmt: skip

    return build


@pytest.fixture
def timeline():
    """Forty days of invented spring and ten of forecast; the newest two days before today are bridged."""
    count = BACK + AHEAD
    day = np.arange(count, dtype=float)
    mean_c = 4.0 + 0.16 * day + 2.2 * np.sin(day / 2.7)
    rain_mm = np.where(day % 9 == 4, 7.5, np.where(day % 9 == 5, 3.0, 0.0))
    mark = np.full(count, Mark.OBSERVED, dtype=np.int8)
    mark[BACK - 2 : BACK], mark[BACK:] = Mark.BRIDGED, Mark.FORECAST
    days = unknown_days(
        TODAY - timedelta(days=BACK), count, air_min_c=mean_c - 4.5, air_max_c=mean_c + 5.5, rain_mm=rain_mm
    )
    return Timeline(
        days, mark, mark, TODAY, STATION, TODAY - timedelta(days=3), timedelta(days=2), FORECASTER,
        AS_OF - timedelta(hours=3, minutes=10),
    )  # fmt: skip


@pytest.fixture
def without_forecast(timeline):
    """The same weather, but nothing known from today on, and the station long silent."""
    blank = np.where(np.arange(len(timeline.days)) < BACK - 6, 1.0, NAN)
    days = replace(
        timeline.days,
        air_min_c=timeline.days.air_min_c * blank,
        air_max_c=timeline.days.air_max_c * blank,
        rain_mm=timeline.days.rain_mm * blank,
    )
    mark = np.where(np.isnan(blank), Mark.UNKNOWN, Mark.OBSERVED).astype(np.int8)
    gaps = (Gap.OBSERVATIONS_OLD, Gap.NO_FORECAST, Gap.RAIN_UNKNOWN)
    return replace(
        timeline, days=days, air_mark=mark, rain_mark=mark, newest_observed=TODAY - timedelta(days=7),
        forecast_origin=None, forecast_issued=None, gaps=gaps,
    )  # fmt: skip


@pytest.fixture
def water():
    return WaterNow(
        week_rain_mm=10.5,
        week_effective_mm=7.2,
        week_watered_mm=5.0,
        week_unknown_days=0,
        depletion_low_mm=8.0,
        depletion_high_mm=14.0,
        total_mm=45.0,
        ready_mm=18.0,
        top_share=0.3,
        outlook_depletion_mm=Daily(TODAY, np.linspace(14.0, 30.0, AHEAD)),
        outlook_need_mm=18.0,
        drained_days=0,
        straw_holds_mm=2.0,
    )


@pytest.fixture
def condition_of(garden_of, timeline):
    def build(planting="gate-early", stage=Stage.CHITTING, garden=None, *, noted=True, soil_known=True, **changed):
        garden = garden or garden_of()
        one = next(p for p in garden.plantings if p.key == planting)
        since = TODAY - timedelta(days=20)
        range_ends = (since, since) if noted else (since - timedelta(days=4), since + timedelta(days=5))
        first, count = TODAY - timedelta(days=BACK), BACK + AHEAD
        day = np.arange(count, dtype=float)
        soil_c = 4.6 + 0.12 * day + 1.1 * np.sin((day - 2.0) / 2.7)
        spread_c = np.where(day < BACK, 1.1, 1.1 + 0.14 * (day - BACK + 1))
        ready = DayRange(date(2026, 4, 17), date(2026, 4, 21), date(2026, 4, 30), 1.0, 12)
        whole = Condition(
            garden=garden,
            bed=garden.bed(one.bed),
            planting=one,
            today=TODAY,
            stage=StageNow(stage, since, *range_ends, noted),
            straw_m=0.07,
            soil=SoilNow(
                Daily(first, soil_c), Daily(first, soil_c - 0.5), Daily(first, spread_c), soil_known, ready,
                fit_chance=Daily(first, normal_cdf((soil_c - 10.0) / spread_c)),
            ),
            water=None,
            crop=CropNow(None, None, NAN, NAN, NAN, None, None, None, None),
            last_straw=date(2026, 3, 20),
            chances=SeasonChances(12, 0.15, None),
            sky=SkyNow(
                timeline.outlook, (), timeline.newest_observed, timedelta(days=2, hours=6), timedelta(days=2), 1.0,
                STATION, has_forecast=True, gaps=(),
            ),
        )  # fmt: skip
        return replace(whole, **changed)

    return build


@pytest.fixture
def alert_of():
    def build(rule, section=Section.DO_TODAY, urgency=50, **changed):
        facts = changed.pop("facts", {})
        first_on = changed.pop("first_on", TODAY)
        whole = Alert(
            rule=rule, bed="gatebed", planting="gate-early", stage=Stage.CHITTING, section=section, verdict="",
            urgency=urgency, facts=facts, level=0, chance=None, first_on=first_on, episode=first_on.isoformat(),
            fresh=first_on == TODAY,
        )  # fmt: skip
        return replace(whole, **changed)

    return build


@pytest.fixture
def silent(alert_of):
    """The station's silence, with the facts its rule gives."""
    return alert_of(
        "station-silent",
        Section.KEEP_AN_EYE,
        35,
        bed="",
        planting="",
        stage=None,
        verdict="silent",
        facts={
            "station": "Brackenford Mill",
            "newest_observed": TODAY - timedelta(days=7),
            "silent_days": 6,
            "usual_delay_hours": 40.0,
        },
    )


@pytest.fixture
def not_yet(alert_of):
    """Chitted seed that must wait."""
    facts = {
        "why": "cold", "season": "spring", "soil_yesterday_c": 9.26, "limit_c": 10.0, "ready_days": 3,
        "trend_c": 1.6, "ahead_min_c": 8.4, "ahead_max_c": 10.2, "look_ahead_days": 7, "likely": date(2026, 4, 21),
        "early": date(2026, 4, 17), "late": date(2026, 4, 30), "years": 12, "last_safe": None, "new_straw_m": 0.06,
        "sprouted": True, "fit_chance": 0.28,
    }  # fmt: skip
    return alert_of("planting-time", Section.LEAVE_ALONE, 40, verdict="wait", facts=facts)


@pytest.fixture
def frost(alert_of):
    """A night in which leaves may freeze."""
    facts = {
        "night": TODAY, "morning": TODAY + timedelta(days=1), "tonight": True, "air_c": 1.2, "leaf_c": -1.3,
        "spread_c": 1.5, "limit_c": -1.0, "clear": True, "shoots_noted": True, "nearly_ripe": False,
        "likely_air_c": None, "graded_nights": 0, "clear_chance": 1.0,
    }  # fmt: skip
    return alert_of(
        "frost", bed="wallbed", planting="wall-late", stage=Stage.EMERGED, verdict="cover-tonight", urgency=80,
        level=2, chance=0.58, facts=facts,
    )  # fmt: skip


@pytest.fixture
def decision_of(garden_of, timeline):
    def build(*alerts, conditions=(), **changed):
        whole = Decision(garden_of(), AS_OF, TODAY, timeline, tuple(conditions), alerts, ())
        return replace(whole, **changed)

    return build


@pytest.fixture
def busy(decision_of, condition_of, garden_of, water, frost, not_yet, alert_of):
    """A day with something in every part, written for the units asked."""

    def build(display=Display.METRIC):
        garden = garden_of(display)
        watering = {
            "turn_l": 36.0, "minutes": 3.0, "effective_mm": 7.2, "rain_mm": 10.5, "watered_mm": 5.0,
            "target_mm": 25.0, "unknown_days": 0, "tapering": False, "why": "dry-root-zone",
            "depletion_mm": 19.0, "depletion_most_mm": 19.0, "ready_mm": 18.0, "straw_m": 0.07,
            "dry_on": None, "rain_coming_mm": 0.0, "rain_chance": None, "rain_day": None, "aim_mm": 25.0,
            "need_mm": 33.0, "taper_share": 0.5, "nearly_dry_mm": 14.4, "short_mm": 12.8, "later_l": 0.0,
        }  # fmt: skip
        wall = {"bed": "wallbed", "planting": "wall-late", "stage": Stage.EMERGED}
        straw = {
            "wanted_m": 0.2, "height_m": 0.18, "shoots_noted": True, "soil_c": 12.0, "straw_m": 0.07,
            "last_straw": date(2026, 3, 20),
        }  # fmt: skip
        alerts = (
            frost,
            alert_of("water", verdict="water", urgency=55, facts=watering, first_on=date(2026, 4, 12), **wall),
            alert_of("second-straw", Section.GET_READY, 30, verdict="second", facts=straw, **wall),
            not_yet,
            alert_of("shoots-due", Section.KEEP_AN_EYE, 5, ended=True, **wall),
            alert_of(
                "weekly-target", Section.STILL_SO, 20, verdict="short", first_on=date(2026, 4, 9), **wall,
                facts={"by_mm": 8.0, "need_mm": 33.0, "target_mm": 25.0},
            ),
        )  # fmt: skip
        shoots = DayRange(date(2026, 3, 25), date(2026, 3, 25), date(2026, 3, 25), 1.0, 12)
        crop = CropNow(shoots, 20, 0.18, 140.0, 1000.0, None, None, None, None)
        conditions = (
            condition_of(garden=garden),
            condition_of("wall-late", Stage.EMERGED, garden, water=water, crop=crop),
        )
        return decision_of(*alerts, conditions=conditions, garden=garden, notices=("One letter still waits.",))

    return build
