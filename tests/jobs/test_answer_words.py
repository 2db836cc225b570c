"""What answers say: sixty phrases, written down before the code that reads them; none is understood wrongly."""

import json
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.garden import Bed, Cause, Garden, Place, What
from haulm.jobs.answer_denials import Correction, denial
from haulm.jobs.answer_words import About, Outcome, Reading, phrase, understand
from haulm.jobs.note_words import WANTED, Amount, read_amount
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
    elif "corrects" in row:
        (sentence,) = sentences
        assert sentence.outcome is Outcome.CORRECT
        assert sentence.correction == Correction(**row["corrects"])
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


# Names as people give them, and the worst they could give: things to note, amounts, days, words of denial.
NAMES = st.sampled_from(
    ("Gatebed", "Bed 2", "Bed A", "2", "A", "Straw", "Water garden", "St. Mary's; left", "No dig", "Sunday bed", "20 l")
) | st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "Zs")), min_size=1, max_size=20).map(
    lambda name: " ".join(name.split()) or "x"
)
WRITTEN = {
    What.WATERED: ("2 x 10 l", "12 mm", "0.5 in", "1/2 in", "3 gallons", "7,5 l"),
    What.RAIN_READ: ("12 mm", "0.4 in"),
    What.STRAW_LAID: ("10 cm", "8 in"),
    What.STRAW_RAKED: ("", "3 cm"),
    What.SOIL_READ: ("11.5 C", "52 F", "-1 °C"),
    What.STORE_READ: ("6 C", "45F"),
    What.NIGHT_READ: ("-1.5 C", "30 F"),
    What.LIFTED: ("", "9.5 kg", "20 lb"),
}


@st.composite
def readings(draw):
    one, other = draw(st.lists(NAMES, min_size=2, max_size=2, unique_by=str.casefold))
    beds = (replace(BEDS[0], key="b-one", name=one), replace(BEDS[1], key="b-two", name=other))
    display, bed = draw(st.sampled_from(Display)), draw(st.sampled_from(beds))
    what = draw(st.sampled_from(What))
    written = draw(st.sampled_from(WRITTEN[what])) if what in WANTED else ""
    amount = Amount(value=0.0) if what is What.STRAW_RAKED else Amount()
    if written:
        amount = read_amount(what, written, bed, display)
    cause = draw(st.sampled_from(Cause)) if what is What.DYING_BACK else None
    day = TODAY - timedelta(days=draw(st.integers(0, 400)))
    garden = Garden("brackenford", replace(PLACE, display=display), beds, ())
    return About(garden, draw(st.sampled_from(beds)), TODAY), Reading(what, bed, day, amount, cause)


@given(readings())
def test_the_phrase_of_a_reading_is_understood_as_just_that(drawn):
    about, reading = drawn
    (sentence,) = understand(phrase(reading), about)
    assert sentence.outcome is Outcome.NOTE
    (found,) = sentence.readings
    bare = "".join(reading.amount.written.split()).casefold()
    assert "".join(found.amount.written.split()).casefold() == bare
    assert replace(found, amount=reading.amount) == reading
    assert found.amount.value == (None if reading.amount.value is None else pytest.approx(reading.amount.value))


def test_every_kind_of_note_with_an_amount_is_tried():
    assert set(WRITTEN) == set(WANTED)


@pytest.mark.parametrize(
    ("names", "text", "noted"),
    [
        (("Bed 1", "Bed 2"), "watered bed 2 with 10 l", ("b-two", 10)),
        (("Bed 1", "Bed 2"), "watered 2 cans of 10 l", ("b-one", 20)),
        (("Bed 1", "Bed 2"), "watered bed 2 cans of 10 l", ("b-one", 20)),
        (("A", "B"), "watered a bit, 10 l", ("b-one", 10)),
        (("Straw", "B"), "Straw: watered 10 l", ("b-one", 10)),
        (("B", "Water garden"), "watered the water garden with 10 l", ("b-two", 10)),
    ],
)
def test_names_of_beds_are_no_amounts_and_no_things_done(names, text, noted):
    beds = tuple(
        replace(bed, key=key, name=name) for bed, key, name in zip(BEDS, ("b-one", "b-two"), names, strict=True)
    )
    (sentence,) = understand(text, About(Garden("brackenford", PLACE, beds, ()), beds[0], TODAY))
    assert sentence.outcome is Outcome.NOTE
    (one,) = sentence.readings
    assert (one.bed.key, one.amount.value) == (noted[0], pytest.approx(noted[1] / BEDS[0].area_m2))


def test_a_name_that_two_beds_bear_or_none_is_asked_back():
    alike = tuple(replace(bed, name="Bed") for bed in BEDS)
    for beds, text in ((alike, "Bed: watered 10 l"), (BEDS, "Plumbd: watered 10 l")):
        (sentence,) = understand(text, About(Garden("brackenford", PLACE, beds, ()), beds[0], TODAY))
        assert (sentence.outcome, sentence.why) == (Outcome.ASK, "which bed")


@pytest.mark.parametrize("text", ["today: watered 10 l", "Watering: 10 l", "soil: 11.5 C"])
def test_other_words_before_a_colon_are_no_bed(text):
    (sentence,) = understand(text, about())
    assert sentence.outcome is Outcome.NOTE


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("no, that was the other bed", Correction(other_bed=True)),
        ("Sorry, wrong bed", Correction(other_bed=True)),
        ("that was the wrong bed", Correction(other_bed=True)),
        ("No - that was Plumbed", Correction(bed=BEDS[1])),
        ("no, that was in Plumbed yesterday", Correction(bed=BEDS[1], day=TODAY - timedelta(days=1))),
        ("no, that was yesterday", Correction(day=TODAY - timedelta(days=1))),
        ("sorry, that was on Tuesday", Correction(day=TODAY - timedelta(days=2))),
        ("no, the watering was the other bed", Correction(other_bed=True, thing=What.WATERED)),
        ("no, the shoots were on 10 May", Correction(day=TODAY - timedelta(days=3), thing=What.SHOOTS_OUT)),
    ],
)
def test_what_takes_an_answer_back(text, wanted):
    (sentence,) = understand(text, about())
    assert (sentence.outcome, sentence.correction) == (Outcome.CORRECT, wanted)


@pytest.mark.parametrize(
    "text",
    [
        "no watering was needed yesterday",
        "no, it was 20 l",
        "no, that was good",
        "no, that was tomorrow",
        "no, that was on 5/6",
        "no, that was Gatebed or Plumbed",
        "no, the other bed is dry",
        "no, the bed was dry yesterday",
        "the shoots were out yesterday",
    ],
)
def test_what_only_sounds_like_it_does_not(text):
    assert all(sentence.outcome is not Outcome.CORRECT for sentence in understand(text, about()))


@given(readings(), st.integers(0, 20), st.sampled_from(("bed", "day", "both")))
def test_the_words_of_a_correction_are_understood_as_just_that(drawn, back, what):
    about, reading = drawn
    day = None if what == "bed" else TODAY - timedelta(days=back)
    bed = None if what == "day" else reading.bed
    (sentence,) = understand(denial(reading.what, reading.day, bed, day), about)
    assert sentence.correction == Correction(bed=bed, day=day, thing=reading.what, of_day=reading.day)
