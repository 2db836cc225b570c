"""`haulm page`: a folder that a browser can open, from real mornings."""

import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from html.parser import HTMLParser
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from haulm.errors import DeliveryError, Exit
from haulm.garden import Entry, What
from haulm.jobs.morning import morning
from haulm.jobs.page import refresh_pages, write_pages
from haulm.jobs.state_folder import StateFolder
from haulm.settings.explain import explained
from haulm.settings.load import load
from haulm.settings.sample import sample_toml
from haulm.store.journal_file import append_entry

TODAY = date(2027, 5, 20)
NOW = datetime(2027, 5, 20, 13, tzinfo=UTC)
MORNINGS = 4


class Read(HTMLParser):
    """What a page leads to and loads, its headings in order, its pictures' words, its words."""

    def __init__(self, text):
        super().__init__()
        self.leads, self.loads, self.headings, self.alts, self.words, self.tags = [], [], [], [], "", []
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        told = dict(attributes)
        self.tags.append(tag)
        self.leads += [told["href"]] if tag == "a" else []
        self.loads += [told["src"]] if "src" in told else []
        self.alts += [told.get("alt", "")] if tag == "img" else []
        self.headings += [int(tag[1])] if re.fullmatch(r"h[1-6]", tag) else []

    def handle_data(self, data):
        self.words += data


@pytest.fixture(scope="module")
def settings(tmp_path_factory, write_invented_days):
    at = tmp_path_factory.mktemp("garden")
    (at / "haulm.toml").write_text(sample_toml(), encoding="utf-8")
    found = load(at / "haulm.toml")
    write_invented_days(found.weather.file, TODAY, 500, date(2025, 1, 1))
    return found


@pytest.fixture(scope="module")
def state(settings):
    found = StateFolder(settings.path.parent / "state")
    found.path.mkdir()
    day = TODAY - timedelta(days=20)
    instant = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
    planting = settings.garden.plantings[0]
    append_entry(found.journal(settings.garden), Entry("p", instant, day, planting.bed, planting.key, What.PLANTED))
    append_entry(found.journal(settings.garden), Entry("w", instant, day, planting.bed, "", What.WATERED, "<b>", 12.0))
    zone = ZoneInfo(settings.garden.place.zone)
    for back in range(MORNINGS - 1, -1, -1):
        day = TODAY - timedelta(days=back)
        morning(settings, found, datetime(day.year, day.month, day.day, 6, 30, tzinfo=zone))
    return found


@pytest.fixture
def folder(settings, state, tmp_path):
    write_pages(settings, state, tmp_path / "pages", NOW)
    return tmp_path / "pages"


def pages(folder):
    return {path.relative_to(folder).as_posix(): Read(path.read_text("utf-8")) for path in folder.rglob("*.html")}


def test_every_link_and_picture_is_there_and_nothing_leads_outside(folder):
    found = pages(folder)
    assert {"index.html", "letters.html", "windows.html", "review.html"} < set(found)
    assert "When to plant Gatebed" in found["windows.html"].words
    assert sum(name.startswith("letters/") for name in found) == MORNINGS
    for name, page in found.items():
        for target in page.leads + page.loads:
            assert not re.match(r"[a-z]+:|//|/", target), target
            assert ((folder / name).parent / target).is_file(), (name, target)
        assert all(page.alts)
        assert not {"script", "link", "iframe"} & set(page.tags)


def test_headings_are_in_order_and_each_page_has_one_first(folder):
    for name, page in pages(folder).items():
        assert page.headings[0] == 1, name
        assert page.headings.count(1) == 1, name
        assert all(after <= before + 1 for before, after in zip(page.headings, page.headings[1:], strict=False)), name


def test_a_planting_s_page_tells_what_was_said_and_what_was_noted(folder, settings):
    planting = settings.garden.plantings[0]
    page = pages(folder)[f"planting-{planting.key}.html"]
    assert "Noted: planted" in page.words
    assert "Noted: watered" in page.words
    assert planting.name in page.words
    assert "Skip watering" in page.words or "Water Gatebed" in page.words


def test_a_planting_s_page_shows_its_stages_and_its_water(folder, settings):
    planting = settings.garden.plantings[0]
    html = (folder / f"planting-{planting.key}.html").read_text()
    stages = re.findall(r"<li( class=\"ahead\")?>(.+?) <span>(.+?)</span>", html)
    noted = [what for ahead, what, when in stages if "an estimate" not in when]
    assert noted[0] == "planted"
    assert all("an estimate" in when for ahead, what, when in stages if ahead)
    assert any(ahead for ahead, what, when in stages)
    assert (folder / f"planting-{planting.key}-water.png").stat().st_size < 20_000


def test_today_is_the_newest_letter(folder):
    page = pages(folder)["index.html"]
    assert "Thu\u00a020\u00a0May 2027" in page.words


def test_every_threshold_is_explained_with_what_it_rests_on(folder, settings):
    page = pages(folder)["thresholds.html"]
    for key in ("thresholds.planting.soil_ready_spring = 10 C", "thresholds.frost.act_chance = 30 %"):
        assert key in page.words.replace("\u00a0", " "), key
    assert "common practice, no source" in page.words
    changed = settings.thresholds.model_copy(
        update={"frost": settings.thresholds.frost.model_copy(update={"act_chance": 0.2})}
    )
    rows = {row.key: row for _, table in explained(changed) for row in table}
    assert [row.key for row in rows.values() if row.changed] == ["thresholds.frost.act_chance"]
    assert rows["thresholds.frost.act_chance"].usual == "30 %"


def test_a_second_time_writes_only_what_changed(folder, settings, state):
    assert write_pages(settings, state, folder, NOW) == 0
    (folder / "letters.html").unlink()
    assert write_pages(settings, state, folder, NOW) == 1


def test_before_the_first_letter_there_is_a_page_that_says_so(settings, tmp_path):
    write_pages(settings, StateFolder(tmp_path / "empty"), tmp_path / "pages", NOW)
    assert "No letter has been written yet" in (tmp_path / "pages" / "index.html").read_text("utf-8")


def test_a_folder_that_cannot_be_is_told_and_does_not_undo_the_letter(settings, state, tmp_path):
    (tmp_path / "pages").write_text("a file")
    with pytest.raises(DeliveryError):
        write_pages(settings, state, tmp_path / "pages", NOW)
    named = replace(settings, post=settings.post.model_copy(update={"pages": tmp_path / "pages"}))
    assert refresh_pages(named, state, NOW) == Exit.PARTLY
    assert refresh_pages(settings, state, NOW) == Exit.DONE
    assert Path(tmp_path / "pages").read_text() == "a file"
