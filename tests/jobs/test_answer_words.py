"""What answers say: sixty phrases, written down before the code that reads them; none is understood wrongly."""

import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.garden import Bed, Cause, Garden, Place
from haulm.jobs.answer_words import About, Outcome, understand
from haulm.units import Display

TABLE = json.loads((Path(__file__).parent.parent / "reference" / "answers.json").read_text(encoding="utf-8"))
TODAY = date.fromisoformat(TABLE["today"])
BEDS = (Bed("gatebed", "Gatebed", 2.4, 1.2, "loam", 0.3), Bed("plumbed", "Plumbed", 2.4, 1.2, "loam", 0.3))
PLACE = Place("Brackenford", 52.0, -3.0, 140.0, "Europe/London", Display.METRIC, 1.5)


def about(units="metric"):
    place = replace(PLACE, display=Display(units))
    return About(Garden("brackenford", place, BEDS, ()), BEDS[0], TODAY)


def seen(reading):
    value = None if reading.amount.value is None else round(reading.amount.value, 3)
    return [str(reading.what), value, reading.day.isoformat(), reading.bed.key]


def near(found, wanted):
    if len(found) != len(wanted):
        return False
    return all(
        [a[0], *a[2:]] == [b[0], *b[2:]] and (a[1] == b[1] or a[1] == pytest.approx(b[1], abs=2e-3))
        for a, b in zip(found, wanted, strict=True)
    )


@pytest.mark.parametrize("row", TABLE["rows"], ids=lambda row: row["text"][:40])
def test_each_phrase_is_understood_asked_back_or_left(row):
    text = "" if row.get("nothing") == "quoted" else row["text"]  # quoting is taken away before
    sentences = understand(text, about(row["units"]))
    readings = [seen(reading) for sentence in sentences for reading in sentence.readings]
    if "notes" in row:
        assert {sentence.outcome for sentence in sentences} == {Outcome.NOTE}
        assert near(readings, row["notes"]), readings
    elif "asks" in row:
        assert [sentence.outcome for sentence in sentences] == [Outcome.ASK]
        assert sentences[0].why
        assert near(readings, row["asks"]), readings
    else:
        assert {sentence.outcome for sentence in sentences} <= {Outcome.NOTHING}
        assert not readings


def test_the_cause_is_read_with_the_tops():
    (one,) = understand("tops are dying back, blight", about())
    assert one.readings[0].cause is Cause.BLIGHT
    (two,) = understand("tops going down", about())
    assert two.readings[0].cause is Cause.UNKNOWN


@given(st.text(max_size=200))
def test_no_text_breaks_it(text):
    for sentence in understand(text, about()):
        assert sentence.readings or sentence.why
