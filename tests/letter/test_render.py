"""The letter set as text and HTML, looked at as a reader's programs would.

After a deliberate change of wording: ``REWRITE_GOLDEN=1 pytest tests/letter``, then read what changed.
"""

import os
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from haulm.advice import Section
from haulm.letter.compose import compose
from haulm.letter.render import COLUMNS, Picture, as_html, as_text
from haulm.letter.words import TEMPLATES
from haulm.units import Display

GOLDEN = Path(__file__).with_name("golden")
VOID = {"meta", "img", "br", "hr"}


class Reader(HTMLParser):
    """Keeps what a letter's HTML holds, and that its tags close in order."""

    def __init__(self, html):
        super().__init__()
        self.tags, self.open, self.headings, self.text = [], [], [], []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)
        if re.fullmatch(r"h[1-6]", tag):
            self.headings.append(int(tag[1]))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.text.append(data)


@pytest.fixture
def golden_letters(busy, decision_of, condition_of, silent, alert_of, without_forecast, thresholds):
    cannot_tell = alert_of("planting-time", Section.KEEP_AN_EYE, 30, unknown="soil temperature", level=-1)
    quiet = decision_of(conditions=[condition_of()])
    blind = decision_of(silent, cannot_tell, timeline=without_forecast, conditions=[condition_of(soil_known=False)])
    return {
        "busy-metric": compose(busy(), thresholds),
        "busy-us": compose(busy(Display.US), thresholds),
        "nothing-to-do": compose(quiet, thresholds),
        "little-known": compose(blind, thresholds),
        "between-letters": compose(busy(), thresholds, "evening"),
    }


@pytest.mark.parametrize("name", ["busy-metric", "busy-us", "nothing-to-do", "little-known", "between-letters"])
def test_the_text_is_the_one_that_was_read_and_approved(golden_letters, name):
    letter = golden_letters[name]
    text = f"Subject: {letter.subject}\n\n{as_text(letter)}"
    path = GOLDEN / f"{name}.txt"
    if os.environ.get("REWRITE_GOLDEN"):
        path.write_text(text, encoding="utf-8")
    assert text == path.read_text(encoding="utf-8")


def test_lines_of_text_are_short_and_numbers_keep_their_units(golden_letters):
    for letter in golden_letters.values():
        lines = as_text(letter).splitlines()
        assert max(map(len, lines)) <= COLUMNS
        assert not any(re.match(r"\s*(°C|°F|mm|cm|April|litres|gallons)\b", line) for line in lines)
        assert not any(line != line.rstrip() for line in lines)
        assert "\n\n\n" not in as_text(letter)


def test_text_and_html_say_the_same(golden_letters):
    for letter in golden_letters.values():

        def words(text):
            return re.sub(r"\s+", " ", text.replace("\u00a0", " ")).replace(":", "").split()

        html = Reader(as_html(letter))
        body = " ".join(html.text[html.text.index(letter.greeting) :])
        assert words(body) == words(as_text(letter))


def test_html_is_well_formed_with_headings_in_order(golden_letters):
    for letter in golden_letters.values():
        read = Reader(as_html(letter))
        assert read.open == []
        assert read.headings[0] == 1
        assert read.headings.count(1) == 1
        assert all(after - before <= 1 for before, after in zip(read.headings, read.headings[1:], strict=False))
        assert ("html", {"lang": "en"}) in read.tags


def test_html_loads_nothing_and_its_picture_is_described(golden_letters):
    html = as_html(golden_letters["busy-us"], Picture("cid:soil@haulm", "Soil 49 °F"))
    read = Reader(html)
    images = [attributes for tag, attributes in read.tags if tag == "img"]
    assert [(image["src"], image["alt"]) for image in images] == [("cid:soil@haulm", "Soil 49 °F")]
    assert {tag for tag, _ in read.tags}.isdisjoint({"script", "link", "iframe", "table", "object", "form"})
    assert not re.search(r"https?:|@import|url\(|@font-face", html)
    assert not any(name.startswith("on") for _, attributes in read.tags for name in attributes)


def test_html_without_a_picture_has_none(golden_letters):
    assert "<img" not in as_html(golden_letters["busy-us"])


def test_names_cannot_break_the_html(decision_of, garden_of, alert_of, not_yet, thresholds):
    garden = garden_of(bed="<Gate & bed>", place='Bracken"ford <b>')
    letter = compose(decision_of(not_yet, garden=garden), thresholds)
    html = as_html(letter, Picture('x" onload="y', "a < b"))
    read = Reader(html)
    assert "<Gate & bed>" in "".join(read.text).replace("\u00a0", " ")
    assert "b" not in [tag for tag, _ in read.tags]
    assert [set(attributes) for tag, attributes in read.tags if tag == "img"] == [{"src", "alt", "width", "style"}]
    assert "<Gate & bed>" in as_text(letter)


def test_colours_are_easy_to_read_by_day_and_by_night():
    style = (TEMPLATES / "style.css").read_text(encoding="utf-8")
    day, night = style.split("@media (prefers-color-scheme: dark)")
    night = night.split("@media print")[0]
    for part in (day, night):
        paper = re.search(r"body \{[^}]*background: (#\w+)", part)[1]
        inks = re.findall(r"[^-]color: (#\w+)", part)
        assert len(inks) == 2
        assert min(contrast(paper, ink) for ink in inks) >= 4.5  # WCAG 2.1, 1.4.3


def contrast(one, other):
    """Contrast ratio of two colours (WCAG 2.1, "contrast ratio" and "relative luminance")."""

    def luminance(colour):
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)
