"""Settings files of earlier haulms still load, as they stand and with every default of theirs written out."""

import re
from pathlib import Path

import pytest

from haulm.settings.load import load

RELEASED = sorted((Path(__file__).parent / "released").glob("*.toml"))


def awake(text: str) -> str:
    """Each default of a threshold written out, as a grower may have done who copied the sample and changed a few."""
    head, mark, thresholds = text.partition("[thresholds.")
    return head + mark + re.sub(r"(?m)^# (?=[a-z_]+ = )", "", thresholds)


@pytest.mark.parametrize("path", RELEASED, ids=lambda path: path.stem)
@pytest.mark.parametrize("written_out", [False, True], ids=["as it stands", "written out"])
def test_an_earlier_sample_loads(path: Path, written_out: bool, tmp_path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    file = tmp_path / "haulm.toml"
    written = awake(text) if written_out else text
    assert (len(re.findall(r"(?m)^[a-z_]+ = ", written)) > 60) is written_out
    file.write_text(written, encoding="utf-8")
    settings = load(file)
    assert settings.garden.place.name == "Brackenford"
    assert [bed.key for bed in settings.garden.beds] == ["gatebed"]
    assert settings.backups.days == 7  # what came later has its default


def test_all_that_were_released_are_here() -> None:
    assert [path.stem for path in RELEASED] == ["first", "version-1", "version-2", "version-3"]
