"""How chances turned out: counted by row of the one table, each night from what was known before it."""

import json
from dataclasses import replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from haulm.beds.forcing import PlaceMean
from haulm.jobs.demo import scenes
from haulm.jobs.observe import Observed
from haulm.jobs.review_chances import chances_seen
from haulm.letter.review import ChanceSeen, Review
from haulm.letter.review_json import as_json
from haulm.letter.review_words import as_lines, as_parts
from haulm.sources.bridge import timeline
from haulm.sources.invented import invented_forecasts, invented_record


def test_how_chances_turned_out_is_told_by_row_of_the_table():
    found = Review(scenes(2027)[0].garden.place, date(2027, 9, 20), ())
    looked = replace(found, chances=(ChanceSeen(0.01, 301, 0), ChanceSeen(0.3, 12, 4), ChanceSeen(0.5, 1, 1)))
    told = " ".join("\n".join(as_lines(looked)).split())
    assert "How chances turned out Frost at the station in the night after each forecast, 314 nights:" in told
    assert "· very unlikely, 1 in 100 (1 %): 301 nights, none of them froze." in told
    assert "· possible, 3 in 10 (30 %): 12 nights, four of them froze." in told
    assert "· as likely as not, 5 in 10 (50 %): one night, one of them froze." in told
    assert json.loads(as_json(looked))["chances"][1] == {"chance": 0.3, "nights": 12, "froze": 4}
    assert [title for title, _ in as_parts(looked)][-1] == "How chances turned out"
    assert "How chances turned out" not in "\n".join(as_lines(replace(found, chances=())))


def test_chances_are_looked_back_on_from_the_issues_that_are_held():
    """A winter of the invented place: each night since the thirtieth in one row, and as many frosts as measured."""
    today, zone = date(2027, 3, 20), ZoneInfo("Europe/London")
    record = invented_record("brackenford", date(2024, 1, 1), today, 7)
    mornings = [today - timedelta(days=back) for back in range(140)]
    issues = invented_forecasts("brackenford", record.days, mornings, 7)
    as_of = datetime(2027, 3, 20, 6, 30, tzinfo=zone)
    known = timeline(record, issues, as_of, today, zone)
    observed = Observed(record, issues, PlaceMean(), (), fresh=True)
    seen = chances_seen(observed, known, scenes(2027)[0].garden.place, as_of)
    counted = sum(one.nights for one in seen)
    assert 100 <= counted <= 110
    nights = record.days.of("air_min_c").between(today - timedelta(days=counted), today - timedelta(days=1))
    assert sum(one.froze for one in seen) == (nights <= 0.0).sum() > 10
    likely = [one for one in seen if one.chance >= 0.7]
    unlikely = [one for one in seen if one.chance <= 0.3]
    assert sum(one.froze for one in likely) / sum(one.nights for one in likely) > 0.6
    assert sum(one.froze for one in unlikely) / sum(one.nights for one in unlikely) < 0.35
