"""The demo's letters in a real browser: on a phone and on a desk, by day and in the dark."""

import shutil
from datetime import date

import pytest

from haulm.jobs.demo import demo

PHONE, DESK = 360, 1280
ON = (date(2027, 3, 20), date(2027, 5, 11), date(2027, 8, 5))


@pytest.fixture(scope="module")
def letters(tmp_path_factory):
    folder = tmp_path_factory.mktemp("letters")
    for day in ON:
        list(demo(folder / "all", day))
    for path in (folder / "all").rglob("*.*"):
        if path.suffix in {".html", ".png"}:
            shutil.copy(path, folder / path.name)
    return folder


@pytest.mark.parametrize("width", [PHONE, DESK])
@pytest.mark.parametrize("dark", [False, True])
def test_a_letter_reads_well(letters, looker, width, dark):
    """Contrast of at least 4.5 to 1: WCAG 2.1, success criterion 1.4.3."""
    look = looker(letters)
    pages = sorted(path.name for path in letters.glob("*.html") if path.name != "measure.html")
    assert len(pages) == 2 * len(ON)
    for page in pages:
        found = look.measure(page, width, dark=dark)
        assert found["scroll"] <= width, (page, found["wide"])
        assert not found["low"], (page, found["low"])
        assert found["least"] >= 4.5
        assert found["headings"][0] == 1
        assert all(b <= a + 1 for a, b in zip(found["headings"], found["headings"][1:], strict=False))
        assert all(picture["alt"] and picture["loaded"] for picture in found["pictures"])
        assert all(picture["width"] <= width for picture in found["pictures"])
        assert found["smallest"] >= 14.0
        assert all(name.startswith(look.base) for name in found["fetched"])


def test_the_dark_is_dark(letters, looker):
    look = looker(letters)
    page = next(path.name for path in letters.glob("*.html") if path.name != "measure.html")
    light, dark = (look.measure(page, PHONE, dark=dark)["ground"] for dark in (False, True))
    assert light != dark
    assert sum(map(int, dark[4:-1].split(","))) < 150
    assert sum(map(int, light[4:-1].split(","))) > 600
