"""`haulm review`: what was expected beside what came, from real letters, the journal and the record."""

import json
import shutil
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine

from haulm import cli
from haulm.errors import Exit, JournalError
from haulm.garden import Cause, Entry, What
from haulm.jobs.let_go import Kept, let_go_of_old
from haulm.jobs.morning import morning
from haulm.jobs.review import review
from haulm.jobs.state_folder import StateFolder
from haulm.letter.review_json import as_json
from haulm.letter.review_words import as_lines
from haulm.settings.load import load
from haulm.settings.sample import sample_toml
from haulm.sources.invented import invented_record
from haulm.store.database import open_database
from haulm.store.journal_file import append_entry

NOW = datetime(2027, 9, 20, 11, 0, tzinfo=UTC)
FROSTY, MISSED = date(2027, 5, 20), date(2027, 5, 27)
DAYS = (
    (date(2027, 4, 16), What.PLANTED, None, None),
    (date(2027, 5, 12), What.SHOOTS_OUT, None, None),
    (date(2027, 6, 2), What.WATERED, 10.0, None),
    (date(2027, 7, 2), What.WATERED, 15.0, None),
    (date(2027, 8, 10), What.DYING_BACK, None, Cause.AGE),
    (date(2027, 8, 20), What.TOPS_DEAD, None, None),
    (date(2027, 9, 5), What.LIFTED, 10.0, None),
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """One season: weather of the invented place with two cold nights put into May, one of them forecast."""
    at = tmp_path_factory.mktemp("season")
    (at / "haulm.toml").write_text(sample_toml(), encoding="utf-8")
    settings = load(at / "haulm.toml")
    days = invented_record("brackenford", date(2025, 1, 1), NOW.date(), 7).days
    rows, told = ["date,air_min_c,air_max_c,rain_mm"], ["issued,date,air_min_c,air_max_c,rain_mm"]
    for back in range(700, 0, -1):
        day = NOW.date() - timedelta(days=back)
        low, high, rain = (days.of(name).at(day) for name in ("air_min_c", "air_max_c", "rain_mm"))
        cold = day in {FROSTY, MISSED}
        rows.append(f"{day},{-2.5 if cold else max(low, 4.0):.1f},{max(high, 12.0):.1f},{rain}")
        low_told = -2.5 if day == FROSTY else 9.0
        told.append(f"{day - timedelta(days=1)}T04:00:00Z,{day},{low_told},18,0")
    settings.weather.file.write_text("\n".join(rows) + "\n")
    (at / "forecast.csv").write_text("\n".join(told) + "\n")
    return at


@pytest.fixture(scope="module")
def settings(folder):
    return load(folder / "haulm.toml", {"HAULM_WEATHER__FORECAST_FILE": str(folder / "forecast.csv")})


@pytest.fixture(scope="module")
def state(folder, settings):
    found = StateFolder(folder / "state")
    found.path.mkdir()
    (planting,) = [one.key for one in settings.garden.plantings if one.bed == "gatebed"][:1]
    for day, what, value, cause in DAYS:
        bed_alone = what is What.WATERED
        instant = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
        entry = Entry(
            f"e{day}", instant, day, "gatebed", "" if bed_alone else planting, what, "", value, cause
        )  # fmt: skip
        append_entry(found.journal(settings.garden), entry)
    zone = ZoneInfo(settings.garden.place.zone)
    for day in (FROSTY - timedelta(days=1), FROSTY, MISSED - timedelta(days=1), MISSED):
        moment = datetime(day.year, day.month, day.day, 7, tzinfo=zone)
        morning(settings, found, moment)
    return found


@pytest.fixture(scope="module")
def found(settings, state):
    return review(settings, state, NOW)


def test_the_shoots_are_set_beside_what_was_expected_when_it_was_planted(found):
    (one,) = found.plantings
    due = one.shoots_expected
    assert due.early > date(2027, 4, 20)
    assert due.early < due.likely < due.late
    told = " ".join("\n".join(as_lines(found)).split())
    assert "Planted Fri 16 April. Shoots expected between" in told
    within = due.early <= date(2027, 5, 12) <= due.late
    assert ("within the range" in told) == within


def test_what_came_after_planting_does_not_change_what_was_expected_then(settings, state, found, tmp_path):
    """The same range, whatever the grower noted later."""
    other = StateFolder(tmp_path)
    (planting,) = [one.key for one in settings.garden.plantings if one.bed == "gatebed"][:1]
    instant = datetime(2027, 4, 16, 12, tzinfo=UTC)
    append_entry(
        other.journal(settings.garden),
        Entry("p", instant, instant.date(), "gatebed", planting, What.PLANTED),
    )
    assert review(settings, other, NOW).plantings[0].shoots_expected == found.plantings[0].shoots_expected


def test_water_weight_and_ripening_are_added_up(found, settings):
    (one,) = found.plantings
    area = settings.garden.bed("gatebed").area_m2
    assert (one.water.watered_mm, one.water.turns) == (25.0, 2)
    assert one.water.watered_l == pytest.approx(25.0 * area)
    assert one.weight_kg == 10.0
    assert one.leaf_days == 90
    assert 300 < one.p_days < 900
    assert one.p_days_needed == 800.0


def test_what_the_next_crop_takes_from_it_is_told_and_is_a_third_of_what_was_seen(found):
    """One crop against the weight of two: its warmth at tops of age moves the need by a third of the difference."""
    (one,) = found.plantings
    taught = one.next_time
    assert (taught.shoots_crops, taught.ripe_crops) == (1, 1)
    assert abs(taught.shoots_later_share) <= 0.5 / 3
    seen = min(max(one.p_days / one.p_days_needed, 0.7), 1.3)
    assert taught.ripe_warmth_share == pytest.approx((2.0 + seen) / 3.0, abs=0.01)
    told = " ".join("\n".join(as_lines(found)).split())
    assert "Next time, by one crop here: shoots" in told
    assert "Next time, by one crop here: tops going down at" in told
    assert json.loads(as_json(found))["plantings"][0]["next_time"]["ripe_crops"] == 1


def test_a_called_frost_and_one_that_was_not_called_are_told_apart(found):
    (one,) = found.plantings
    nights = {night.morning: night for night in one.nights}
    assert nights[FROSTY].level >= 2
    assert nights[FROSTY].froze is True
    assert nights[MISSED].level == 0
    assert nights[MISSED].froze is True
    told = " ".join("\n".join(as_lines(found)).split())
    assert "one call to cover: one came, no false alarms. One frost came uncalled." in told


def test_letters_that_were_let_go_are_reviewed_alike(found, settings, state, tmp_path):
    other = StateFolder(shutil.copytree(state.path, tmp_path / "state"))
    with open_database(other.store) as database:
        let_go_of_old(database, [Kept(settings.garden.key, NOW.date())])
        assert database.rows("SELECT html, picture FROM letters WHERE html <> ''") == []
    assert as_json(review(settings, other, NOW)) == as_json(found)


def test_lines_fit_a_terminal_and_the_form_for_programs_is_numbered(found):
    assert max(map(len, as_lines(found))) <= 80
    whole = json.loads(as_json(found))
    assert whole["version"] == 1
    (one,) = whole["plantings"]
    assert one["weight_kg_m2"] == pytest.approx(one["weight_kg"] / (one["water"]["watered_l"] / 25.0), abs=1e-3)


def test_the_garden_s_own_thermometer_has_the_last_word(found):
    night = found.plantings[0].nights[0]
    assert replace(night, air_min_c=3.0, own_min_c=-0.5).froze is True
    assert replace(night, air_min_c=-3.0, own_min_c=1.5).froze is False
    assert replace(night, air_min_c=float("nan"), own_min_c=float("nan")).froze is None


def test_a_garden_where_nothing_was_planted_says_so(settings, tmp_path):
    nothing = review(settings, StateFolder(tmp_path), NOW)
    assert nothing.plantings == ()
    assert "no season to look back on" in "\n".join(as_lines(nothing))


def test_an_unknown_bed_is_told(settings, state):
    with pytest.raises(JournalError):
        review(settings, state, NOW, "nosuchbed")


def test_from_the_command_line(folder, state, capsys):
    words = ["review", "gatebed", "--settings", str(folder / "haulm.toml"), "--state", str(state.path)]
    with time_machine.travel(NOW):
        assert cli.main(words) == Exit.DONE
    assert "Lifted" in capsys.readouterr().out
