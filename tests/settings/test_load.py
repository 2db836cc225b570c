"""What a sound file becomes: the garden in the words of the vocabulary, the thresholds in house units."""

import os
import subprocess
import sys
from datetime import date, time
from pathlib import Path

import pytest
from pydantic import ValidationError

from haulm.errors import SettingsError
from haulm.garden import Bed, Habit, Maturity, Place, Planting, Recipient, Season, Straw
from haulm.settings.describe import describe
from haulm.settings.load import load
from haulm.units import Display


def test_the_garden(write, garden_text):
    text = garden_text.replace(
        'width = "4 ft"',
        'width = "4 ft"\nstraw = [{ since = 2027-03-01, depth = "1 in" }, { since = 2026-10-20, depth = "4 in" }]',
    )
    garden = load(write(f'{text}[recipients.me]\nname = "Me"\naddress = "me@example.org"\n')).garden
    assert garden.key == "brackenford"
    assert garden.place == Place("Brackenford", 44.0, -90.0, 300.0, "America/Chicago", Display.METRIC, 1.5)
    assert garden.beds == (
        Bed(
            "gatebed",
            "Gatebed",
            pytest.approx(2.4384),
            pytest.approx(1.2192),
            "loam",
            pytest.approx(0.3),
            (Straw(date(2026, 10, 20), pytest.approx(0.1016)), Straw(date(2027, 3, 1), pytest.approx(0.0254))),
        ),
    )
    assert garden.plantings == (
        Planting(
            "gate-early",
            "gatebed",
            "Gate early",
            Maturity.EARLY,
            Habit.DETERMINATE,
            Season.SPRING,
            pytest.approx(0.3),
            0.0,
            date(2027, 4, 10),
            date(2027, 6, 5),
        ),
    )
    assert garden.recipients == (Recipient("me", "Me", "me@example.org"),)


@pytest.mark.parametrize(("maturity", "habit"), [("mid", Habit.INDETERMINATE), ("late", Habit.INDETERMINATE)])
def test_only_early_kinds_are_taken_for_determinate(write, garden_text, maturity, habit):
    text = garden_text.replace('maturity = "early"', f'maturity = "{maturity}"')
    assert load(write(text)).garden.plantings[0].habit is habit
    text = text.replace('season = "spring"', 'season = "spring"\nhabit = "determinate"')
    assert load(write(text)).garden.plantings[0].habit is Habit.DETERMINATE


def test_thresholds_are_in_house_units(write, garden_text):
    text = f'{garden_text}[thresholds.water]\nweekly_target = "1 in"\nhose_flow = "3 gal/min"\n'
    thresholds = load(write(text)).thresholds
    assert thresholds.planting.soil_ready_spring_c == pytest.approx(10.0)
    assert thresholds.water.weekly_target_mm == pytest.approx(25.4)
    assert thresholds.water.hose_flow_l_min == pytest.approx(11.356235)
    assert thresholds.straw.second_layer_shoots_m == pytest.approx(0.15)
    assert thresholds.data.letter_catch_up_until == time(12, 0)


def test_relative_paths_start_at_the_file(write, garden_text):
    path = write(f'{garden_text}[post]\nfolder = "letters"\n'.replace('"brackenford.csv"', '"data/days.csv"'))
    settings = load(path)
    assert settings.weather.file == path.parent / "data" / "days.csv"
    assert settings.weather.forecast_file is None
    assert settings.post.folder == path.parent / "letters"
    absolute = load(write(garden_text.replace('"brackenford.csv"', '"/srv/days.csv"')))
    assert absolute.weather.file == Path("/srv/days.csv")


def test_settings_are_frozen(write, garden_text):
    settings = load(write(garden_text))
    with pytest.raises(ValidationError):
        settings.thresholds.planting.ready_days = 9


def test_the_place_can_name_the_garden(write, garden_text):
    assert load(write(garden_text.replace("[place]", '[place]\nkey = "north"'))).garden.key == "north"


def test_a_time_may_be_written_as_toml_has_it(write, garden_text):
    assert load(write(f"{garden_text}[letter]\nat = 05:45:00\n")).letter.at == time(5, 45)


def test_what_the_settings_will_do_in_metric(write, garden_text):
    told = describe(load(write(f'{garden_text}[post]\nfolder = "/srv/letters"\n')))
    assert told[:6] == [
        "Brackenford: 44.00° N, 90.00° W, 300 m up, on the clock of America/Chicago; "
        "letters in metres, millimetres and °C.",
        "Bed Gatebed: 2.44 m by 1.22 m, 30 cm of loam, no straw yet.",
        "Planting Gate early (early, determinate) in Gatebed, laid on the soil: between 10 April 2027 and 5 June 2027, "
        "once the soil has been at 10 °C or warmer for 3 days running.",
        "Store: a cool room, unheated, in the house; its warmth is estimated from the outdoor air and from your "
        "readings.",
        "Frost: 3 nights ahead are watched; a heads-up from 20% for 0 °C, and cover from 30% for −1 °C at the leaves.",
        "Water: 25 mm a week, rain and waterings together; the weekly target decides.",
    ]
    assert told[6].endswith("brackenford.csv; no forecast, so no frost and no rain can be foretold.")
    assert told[7:] == [
        "Evenings: the coming night is looked at again 2 h before dusk and two hours after sunset.",
        "Letter: each morning at 06:30, kept in the folder /srv/letters and in the log.",
    ]


def test_evenings_and_a_file_of_hours_are_told(write, garden_text):
    text = garden_text.replace('file = "brackenford.csv"', 'file = "brackenford.csv"\nhours_file = "hours.csv"')
    told = describe(load(write(f"{text}[letter]\nevening_second_look = false\n")))
    assert "Evenings: the coming night is looked at again 2 h before dusk." in told
    assert any(line.startswith("Weather: from ") and ", its hours from " in line for line in told)
    told = describe(load(write(f"{garden_text}[letter]\nevening = false\n")))
    assert "Evenings: the coming night is not looked at again." in told


def test_what_the_settings_will_do_in_us_units_and_what_was_changed(write, garden_text):
    text = garden_text.replace("[place]", '[place]\nunits = "us"').replace('"50 F"', '"52 F"')
    text = text.replace('season = "spring"', 'season = "autumn"\ndepth = "2 in"')
    told = describe(load(write(f"{text}[post]\nlog = false\n")))
    assert "laid 2 in deep" in told[2]
    assert told[2].endswith("once the soil has been at 75 °F or colder for 3 days running.")
    assert told[5] == "Water: 1 in a week, rain and waterings together; the weekly target decides."
    assert told[8].endswith("kept nowhere: set post.folder or post.log.")
    assert told[9:] == [
        "Changed: thresholds.planting.soil_ready_spring is 11.1 C (52 F), where the default is 10 C (50 F)."
    ]


def test_loading_imports_nothing_heavy():
    code = (
        "import sys, haulm.settings.load, haulm.settings.describe; "
        "print([name for name in ('numpy', 'matplotlib', 'pandas', 'requests', 'meteostat') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_path_loses_its_steps_up_where_that_leads_to_the_same_place(write, garden_text, tmp_path):
    text = garden_text.replace('"brackenford.csv"', '"../data/./brackenford.csv"')
    assert load(write(text)).weather.file == tmp_path.parent / "data" / "brackenford.csv"


def test_behind_a_link_a_path_is_left_as_it_is_written(write, garden_text, tmp_path):
    (tmp_path / "far" / "away").mkdir(parents=True)
    (tmp_path / "link").symlink_to(tmp_path / "far" / "away")
    path = load(write(garden_text.replace('"brackenford.csv"', '"link/../brackenford.csv"'))).weather.file
    assert path.resolve() == tmp_path / "far" / "brackenford.csv"


def test_a_folder_in_place_of_the_file_is_told_with_what_to_name(write, garden_text, tmp_path):
    file = write(garden_text)
    with pytest.raises(SettingsError, match="is a folder") as caught:
        load(tmp_path)
    assert caught.value.remedy == f"Name a file in it, like {file}."


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read everything")
def test_a_file_that_may_not_be_read_is_told_with_what_to_do(write, garden_text):
    file = write(garden_text)
    file.chmod(0)
    with pytest.raises(SettingsError, match="may not be read") as caught:
        load(file)
    assert "the right to read it" in caught.value.remedy
