"""Faults of haulm's own: one bed's is told in the letter that goes all the same; any other in a sentence."""

import logging
from dataclasses import replace
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

import pytest

from haulm import cli
from haulm.errors import Exit
from haulm.jobs import demo
from haulm.jobs.decide import decide
from haulm.jobs.letter_forms import write_out
from haulm.settings.thresholds import Thresholds
from haulm.sources.invented import invented_record

TODAY = date(2027, 5, 4)


def broken(command, words, monkeypatch, environ=()):
    """A command that has a fault no one thought of."""

    def add(commands):
        parser = commands.add_parser("broken")
        parser.set_defaults(command=command)

    monkeypatch.setattr(cli, "COMMANDS", (*cli.COMMANDS, add))
    for name, value in environ:
        monkeypatch.setenv(name, value)
    return cli.main(words)


def stumbles(_arguments):
    return {}["secret-of-the-grower"]


def test_an_unexpected_fault_is_a_sentence_and_no_trace(monkeypatch, capsys):
    monkeypatch.setattr(logging.getLogger(), "handlers", [])
    assert broken(stumbles, ["broken"], monkeypatch) == Exit.PARTLY
    told = capsys.readouterr().err
    assert "a fault of haulm's own (KeyError, test_own_faults.py line" in told
    assert "HAULM_TRACE=1" in told
    assert "Traceback" not in told
    assert "secret-of-the-grower" not in told


def test_its_trace_is_shown_where_that_is_asked(monkeypatch, capsys):
    assert broken(stumbles, ["broken"], monkeypatch, [("HAULM_TRACE", "1")]) == Exit.PARTLY
    assert "Traceback" in capsys.readouterr().err


def test_an_unattended_run_has_its_trace_in_the_log(monkeypatch, caplog):
    assert broken(stumbles, ["broken"], monkeypatch) == Exit.PARTLY
    assert "Traceback" in caplog.text


@pytest.fixture(scope="module")
def record():
    return invented_record("brackenford", date(2024, 1, 1), date(2027, 6, 10), demo.SEED)


def two_beds():
    """The demo's garden, and one planting in it that no program could work out: its maturity is no class."""
    garden = demo.scenes(TODAY.year)[0].garden
    sound = garden.plantings[0]
    bad = replace(sound, key="bad", name="Odd one", bed=garden.beds[-1].key, maturity="nonsense")
    return replace(garden, plantings=(sound, bad)), sound


def think(garden, record):
    journal = demo.journal_of(demo.scenes(TODAY.year)[0], TODAY.year)
    as_of = datetime.combine(TODAY, time(6, 30), ZoneInfo(garden.place.zone))
    return decide(garden, Thresholds(), as_of, record, (), journal, ())


def test_one_bed_that_cannot_be_worked_out_spoils_no_other(record):
    garden, sound = two_beds()
    both, alone = think(garden, record), think(replace(garden, plantings=(sound,)), record)
    assert [one.planting.key for one in both.conditions] == [sound.key]
    kept = [(one.rule, one.verdict, repr(one.facts)) for one in both.alerts]
    assert kept == [(one.rule, one.verdict, repr(one.facts)) for one in alone.alerts]
    (fault,) = both.faults
    assert fault.startswith("Odd one in ")
    assert "a fault of haulm's own (ValueError" in fault


def test_the_letter_says_that_not_all_is_known(record):
    garden, _ = two_beds()
    decision = think(garden, record)
    told = write_out(replace(decision, notices=decision.faults), Thresholds(), "x.png", with_picture=False).text
    assert "Odd one in" in " ".join(told.split())
