"""The signed word of an answer's link: good for each kind of letter, and harmless whatever a subject holds."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.letter import compose
from haulm.post.answer_links import KINDS, Letter, Whose, mark, whose

KEY, DAY, ME = b"k" * 32, date(2026, 5, 1), "grower@example.org"


def told(subject, today=DAY):
    return whose(KEY, subject, "brackenford", ["gatebed"], [ME], today, timedelta(days=30))


@pytest.mark.parametrize("kind", [compose.MORNING, compose.EVENING, compose.WORSE])
def test_the_links_of_each_kind_of_letter_are_known_again(kind):
    assert kind in KINDS
    subject = f"Re: Gatebed: watered {mark(KEY, Letter('brackenford', kind, DAY), 'gatebed', ME)}"
    assert told(subject) == Whose("gatebed", ME, DAY)
    assert told(subject, DAY + timedelta(days=31)) is None


@given(st.text(alphabet=st.characters(categories=["Nd"]), min_size=6, max_size=6))
def test_figures_of_any_script_in_a_strangers_subject_break_nothing(figures):
    assert told(f"[H{figures}m-AAAAAAAAAAAAAAAA]") is None


def test_figures_of_another_script_are_no_mark():
    assert told("[H٢٦٠٥٠١m-AAAAAAAAAAAAAAAA]") is None
