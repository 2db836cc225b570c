"""The README says what the program does: its commands, its alerts, its exit codes, its environment."""

import importlib
import pkgutil
import re
import shlex
from pathlib import Path

import pytest

import haulm.commands
from haulm import cli
from haulm.alerts.rules import RULES, SKY_RULES
from haulm.commands import words
from haulm.errors import Exit
from haulm.jobs.demo import DEFAULT_DAY, demo
from haulm.letter import amounts
from haulm.settings.sample import sample_toml

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def table_under(heading):
    part = README.split(f"## {heading}\n")[1].split("\n## ")[0]
    rows = [line.split("|")[1:-1] for line in part.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in row] for row in rows[2:]]


def test_every_alert_is_in_the_table_with_its_manner():
    listed = {key.strip(" `"): row[2] for row in table_under("The alerts") for key in row[0].split(",")}
    assert listed == {rule.key: rule.speaks.value for rule in (*RULES, *SKY_RULES)}


def test_every_exit_code_is_in_the_table():
    assert [int(row[0]) for row in table_under("Exit codes")] == [int(code) for code in Exit]


def test_every_command_that_is_shown_is_understood():
    """Each `haulm …` line of a code block is taken by the parser."""
    shown = re.findall(r"^(?:\S*/)?haulm (.+)$", "\n".join(re.findall(r"```sh\n(.*?)```", README, re.S)), re.M)
    assert shown
    for line in shown:
        assert cli._parser().parse_args(shlex.split(line)).command


def commands():
    return next(a.choices for a in cli._parser()._actions if isinstance(a.choices, dict))


def test_every_command_is_spoken_of():
    for name in commands():
        assert f"haulm {name}" in README, name


def test_every_command_that_is_spoken_of_is_there():
    """In a sentence too, not only in a code block: a newcomer types what stands between the marks."""
    spoken = re.findall(r"`haulm ([a-z]\S*?)(?:`| )", README)
    assert {"evening", "morning", "season"} <= set(spoken)
    assert set(spoken) <= set(commands())


def test_every_command_that_was_written_is_wired():
    """Each `add_…` of the modules of words is called when the program begins."""
    written = {
        name.removeprefix("add_")
        for module in pkgutil.iter_modules(haulm.commands.__path__, "haulm.commands.")
        for name in vars(importlib.import_module(module.name))
        if name.startswith("add_")
    }
    assert written == set(commands())


def test_every_table_of_the_settings_is_named():
    tables = {
        line.split(".")[0].strip("[]# ") for line in sample_toml().splitlines() if re.match(r"^#? ?\[[a-z]", line)
    }
    for table in tables:
        assert f"[{table}" in README, table


@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31", "2027-02-29", "12 May"])
def test_a_day_that_cannot_be_meant_is_refused_at_once(day, capsys):
    with pytest.raises(SystemExit) as caught:
        cli.main(["morning", "--today", day])
    assert caught.value.code == Exit.SETTINGS
    assert day in capsys.readouterr().err


@pytest.mark.parametrize("name", ["HAULM_SETTINGS", "HAULM_STATE"])
def test_the_environment_is_named(name):
    assert name in README
    assert name in Path(words.__file__).read_text(encoding="utf-8")


def test_the_letter_that_is_shown_is_the_demo_s(tmp_path):
    shown = README.split("```text\n")[1].split("```")[0]
    printed = "\n".join(demo(tmp_path, DEFAULT_DAY))
    lines = [line for line in shown.splitlines() if line.strip()]
    assert lines
    for line in lines:
        assert line in printed


def test_the_words_for_chances_are_the_letter_s():
    shown = re.findall(r"^\| (\d+ in \d+ \(\d+ %\)) \| (.+) \|$", README, re.MULTILINE)
    assert shown == [(row.told, row.word) for row in amounts.ODDS]


def test_its_pictures_are_there_and_told_in_words():
    shown = re.findall(r'<img src="([^"]+)"[^>]*alt="([^"]+)"', README)
    assert shown
    for source, alt in shown:
        assert (ROOT / source).is_file()
        assert len(alt.split()) > 10
