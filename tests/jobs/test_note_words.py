"""The words of a note, however they are written: read as what they say, or refused with a reason."""

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.errors import JournalError, UnitError
from haulm.garden import Bed, Cause, Garden, Habit, Maturity, Place, Planting, Season, What
from haulm.jobs.note_words import (
    _SPELLINGS,
    WANTED,
    find_spot,
    read_amount,
    read_cause,
    read_what,
    tell_value,
)
from haulm.units import Display

BED = Bed("gatebed", "Gatebed", 2.4, 1.2, "loam", 0.3)
PLACE = Place("Brackenford", 52.0, -3.0, 140.0, "Europe/London", Display.METRIC, 1.5)
PLANTING = Planting(
    "gate-early", "gatebed", "Gatebed earlies", Maturity.EARLY, Habit.DETERMINATE, Season.SPRING, 0.3, 0.0,
    date(2027, 4, 10), date(2027, 6, 5),
)  # fmt: skip
SPELT = [(what, words) for what, spelt in _SPELLINGS.items() for words in (what.value, *spelt)]
NOTES = st.sampled_from(SPELT)
UNITS = {"mm": ("mm", "in"), "m": ("cm", "in"), "°C": ("C", "F"), "kg": ("kg", "lb")}
TEXT = st.text(max_size=80) | st.lists(
    st.sampled_from([*(words for _, words in SPELT), "5 mm", "-", "of", "1/0 in", "9" * 400, "2 x", "°", "\u0660"])
).map(" ".join)


@given(TEXT, st.sampled_from(What), st.sampled_from(Display))
def test_any_words_are_a_note_or_refused_with_a_reason(text, other, display):
    try:
        what, rest = read_what(text)
    except JournalError as told:
        assert told.what
        assert told.remedy
        what, rest = other, text
    try:
        amount = read_amount(what, rest, BED, display)
    except (JournalError, UnitError) as told:
        assert told.what
        return
    if amount.value is not None:
        wanted = WANTED[what]
        assert wanted.low <= amount.value <= wanted.high * (BED.area_m2 if wanted.per_m2 else 1.0)
        assert tell_value(what, amount.value, display)


@given(NOTES, st.sampled_from(["", "of ", "now ", ": "]), st.booleans(), st.sampled_from([" ", "-", "_"]))
def test_every_spelling_is_read_in_any_case_and_with_hyphens(note, between, upper, joint):
    what, words = note
    written = words.replace(" ", joint)
    found, rest = read_what(f"{written.upper() if upper else written} {between}12 mm")
    assert (found, rest) == (what, "12 mm")


@given(st.sampled_from(sorted(WANTED)), st.floats(0, 1), st.sampled_from([0, 1]), st.sampled_from(Display))
def test_what_can_be_true_is_taken_and_what_cannot_is_not(what, share, unit, display):
    wanted = WANTED[what]
    high = wanted.high * (BED.area_m2 if wanted.per_m2 else 1.0)
    house = wanted.low + share * (high - wanted.low)
    factor = {"mm": 1.0, "cm": 100.0, "in": 1 / 25.4 if wanted.unit == "mm" else 1 / 0.0254, "kg": 1.0,
              "lb": 1 / 0.45359237, "C": 1.0, "F": 1.8}  # fmt: skip
    name = UNITS[wanted.unit][unit]
    shift = 32.0 if name == "F" else 0.0
    near = min(max(house, wanted.low + 1e-6 * abs(high)), high * (1 - 1e-6))
    assert read_amount(what, f"{near * factor[name] + shift:.9f} {name}", BED, display).value == pytest.approx(
        near, abs=1e-5
    )
    beyond = high + (1.0 + share) * (high - wanted.low)
    with pytest.raises((JournalError, UnitError)):
        read_amount(what, f"{beyond * factor[name] + shift:.6f} {name}", BED, display)


@given(st.text(max_size=30))
def test_any_cause_is_known_or_refused(text):
    try:
        assert read_cause(What.DYING_BACK, text) in Cause
    except JournalError as told:
        assert text.strip().casefold() not in set(Cause)
        assert told.remedy


NAMES = st.text(st.characters(codec="utf-8", categories=("L", "N")), min_size=1, max_size=12)


@given(NAMES, NAMES, st.data())
def test_a_name_in_full_is_always_found_and_a_beginning_never_means_two(one, other, data):
    beds = (replace(BED, key="k-one", name=one), replace(BED, key="k-two", name=other))
    garden = Garden("brackenford", PLACE, beds, (replace(PLANTING, bed="k-one", key="p", name="Earlies"),))
    if one.casefold() == other.casefold():
        with pytest.raises(JournalError, match="several"):
            find_spot(garden, one)
        return
    assert find_spot(garden, one).bed.key == "k-one" or "p" in {one.casefold()}
    begun = one[: data.draw(st.integers(1, len(one)))]
    try:
        found = find_spot(garden, begun)
    except JournalError as told:
        assert "several" in told.what
        return
    named = (found.planting or found.bed).name.casefold()
    assert named.startswith(begun.casefold()) or (found.planting or found.bed).key.startswith(begun.casefold())
