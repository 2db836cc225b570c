"""The pages of a garden in a real browser, and what the measuring itself can find."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from haulm.garden import Cause, Entry, What
from haulm.jobs.morning import morning
from haulm.jobs.page import write_pages
from haulm.jobs.state_folder import StateFolder
from haulm.settings.load import load
from haulm.settings.sample import sample_toml
from haulm.store.journal_file import append_entry

TODAY = date(2027, 8, 20)
NOTES = (
    (date(2027, 4, 20), What.PLANTED, None, None),
    (date(2027, 5, 18), What.SHOOTS_OUT, None, None),
    (date(2027, 6, 5), What.STRAW_LAID, 0.2, None),
    (date(2027, 7, 3), What.WATERED, 14.0, None),
    (date(2027, 8, 4), What.DYING_BACK, None, Cause.AGE),
    (date(2027, 8, 16), What.TOPS_DEAD, None, None),
)
OF_THE_BED = {What.STRAW_LAID, What.WATERED}


@pytest.fixture(scope="module")
def pages(tmp_path_factory, write_invented_days):
    at = tmp_path_factory.mktemp("garden")
    (at / "haulm.toml").write_text(sample_toml(), encoding="utf-8")
    settings, state = load(at / "haulm.toml"), StateFolder(at / "state")
    write_invented_days(settings.weather.file, TODAY, 500, date(2026, 1, 1))
    state.path.mkdir()
    planting, zone = settings.garden.plantings[0], ZoneInfo(settings.garden.place.zone)
    for day, what, value, cause in NOTES:
        instant = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
        key = "" if what in OF_THE_BED else planting.key
        append_entry(
            state.journal(settings.garden),
            Entry(f"{day}{what}", instant, day, planting.bed, key, what, "", value, cause),
        )
    for back in (2, 1, 0):
        day = TODAY - timedelta(days=back)
        morning(settings, state, datetime(day.year, day.month, day.day, 6, 30, tzinfo=zone))
    write_pages(settings, state, at / "pages", datetime(2027, 8, 20, 13, tzinfo=UTC))
    return at / "pages"


@pytest.mark.parametrize(("width", "dark"), [(360, False), (360, True), (1280, False), (1280, True)])
def test_every_page_reads_well(pages, looker, width, dark):
    look = looker(pages)
    shown = [path.relative_to(pages).as_posix() for path in pages.rglob("*.html") if path.name != "measure.html"]
    newest = max(name for name in shown if name.startswith("letters/"))
    for page in [name for name in sorted(shown) if "/" not in name] + [newest]:
        found = look.measure(page, width, dark=dark)
        assert found["scroll"] <= width, (page, found["wide"])
        assert not found["low"], (page, found["low"])
        assert all(picture["alt"] and picture["loaded"] for picture in found["pictures"])
        assert all(name.startswith(look.base) for name in found["fetched"])


def test_what_reads_badly_is_found(tmp_path, looker):
    """The measuring itself: a page that is too wide, too pale, and loads what is not there."""
    (tmp_path / "bad.html").write_text(
        '<!DOCTYPE html><title>bad</title><body><h1>Bad</h1><p style="width:900px;color:#aaa">too wide and pale</p>'
        '<img src="gone.png">'
    )
    found = looker(tmp_path).measure("bad.html", 360)
    assert found["scroll"] > 360
    assert found["low"] == ["too wide and pale"]
    assert found["pictures"] == [{"alt": "", "loaded": False, "width": found["pictures"][0]["width"]}]
    assert any(name.endswith("gone.png") for name in found["fetched"])
