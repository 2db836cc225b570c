"""A small garden in a file, that tests change a line of."""

from collections.abc import Callable
from pathlib import Path

import pytest

from haulm.errors import SettingsError
from haulm.settings.load import load

GARDEN = """\
version = 1

[place]
name = "Brackenford"
latitude = 44.0
longitude = -90.0
elevation = "300 m"
zone = "America/Chicago"

[beds.gatebed]
length = "8 ft"
width = "4 ft"

[plantings.gate-early]
bed = "gatebed"
maturity = "early"
season = "spring"
window_first = 2027-04-10
window_last = 2027-06-05

[weather]
file = "brackenford.csv"

[thresholds.planting]
soil_ready_spring = "50 F"
"""


@pytest.fixture
def garden_text() -> str:
    return GARDEN


@pytest.fixture
def write(tmp_path: Path) -> Callable[[str], Path]:
    """Write a settings file; gives its path."""

    def _write(text: str) -> Path:
        path = tmp_path / "brackenford.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return _write


@pytest.fixture
def told(write: Callable[[str], Path]) -> Callable[..., list[str]]:
    """The faults of a text, each as a person reads it."""

    def _told(text: str, environ: dict[str, str] | None = None) -> list[str]:
        with pytest.raises(SettingsError) as caught:
            load(write(text), environ or {})
        return [str(fault) for fault in caught.value.faults]

    return _told
