"""A chance of rain where the forecaster gives only amounts, once enough of its days were graded."""

from datetime import UTC, datetime, time

import numpy as np
import pytest

from haulm.beds.rain import FEWEST_DAYS, with_rain_chances
from haulm.weather import DAY, Forecast, Origin, unknown_days

ISSUER = Origin("made", "an invented station")
NAN = float("nan")
PAST = 1100


@pytest.fixture
def told(make, today):
    """Issues that gave 3 mm for every day, of which half the days were wet; and 3 mm now."""

    def build(days=200, rain_chance=NAN, late=0):
        rng = np.random.default_rng(5)
        rain = np.where(rng.random(PAST + 8) < 0.5, 6.0, 0.0)
        rain[PAST:] = 3.0
        timeline = make.timeline(rain_mm=rain, rain_chance=rain_chance)
        issues = [
            Forecast(
                ISSUER,
                datetime.combine(today - back * DAY, time(4), UTC),
                unknown_days(today - back * DAY, 8, rain_mm=np.full(8, 3.0)),
                datetime.combine(today + late * DAY, time(12), UTC) if late else None,
            )
            for back in range(1, days + 1)
        ]
        as_of = datetime.combine(today, time(5), UTC)
        return timeline, with_rain_chances(timeline, issues, make.place(), as_of)

    return build


def test_what_came_of_such_forecasts_is_the_chance(told):
    before, after = told()
    coming = after.days.rain_chance[PAST:]
    assert np.isnan(before.days.rain_chance[PAST:]).all()
    assert coming[1:4] == pytest.approx(np.full(3, 0.5), abs=0.12)
    assert np.isnan(after.days.rain_chance[:PAST]).all()  # days that are over have no chance


def test_a_chance_that_the_forecaster_gives_is_left_alone(told):
    before, after = told(rain_chance=0.9)
    assert after is before


def test_with_few_days_graded_amounts_speak_for_themselves(told):
    before, after = told(days=FEWEST_DAYS - 1)
    assert after is before
    before, after = told(days=FEWEST_DAYS + 1)
    assert after is not before


def test_issues_that_came_later_are_not_known_yet(told):
    before, after = told(late=1)
    assert after is before
