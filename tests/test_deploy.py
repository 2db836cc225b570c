"""What lies in deploy/: units that systemd accepts, a crontab line that haulm understands, a lock of hashes alone."""

import re
import shlex
import shutil
import subprocess
import tomllib
from pathlib import Path

import pytest

from haulm import cli

ROOT = Path(__file__).parent.parent
DEPLOY = ROOT / "deploy"
UNITS = ("haulm.service", "haulm.timer", "haulm-failed.service")
LOCKED = re.compile(r"([A-Za-z0-9._-]+)==[^\s;]+( --hash=sha256:[0-9a-f]{64})+")


@pytest.fixture
def analyze():
    found = shutil.which("systemd-analyze")
    if found is None:
        pytest.skip("systemd-analyze is not on this machine")
    return found


def test_systemd_accepts_the_units(analyze, tmp_path):
    """The program need not be installed where the unit expects it: an executable stands in for it."""
    stand_in = tmp_path / "haulm"
    stand_in.write_text("#!/bin/sh\n")
    stand_in.chmod(0o755)
    for name in UNITS:
        text = (DEPLOY / name).read_text(encoding="utf-8")
        (tmp_path / name).write_text(text.replace("/opt/haulm/bin/haulm", str(stand_in)), encoding="utf-8")
    done = subprocess.run(
        [analyze, "verify", "--man=no", *(str(tmp_path / name) for name in UNITS)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr.strip()) == (0, "")


def test_the_service_is_hardened_as_the_notes_say(analyze):
    done = subprocess.run(
        [analyze, "security", "--offline=true", "--no-pager", str(DEPLOY / "haulm.service")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    exposure = float(re.search(r"exposure level for haulm.service: ([\d.]+)", done.stdout)[1])
    assert exposure <= 1.5
    assert f"exposure of {exposure:g} when" in " ".join((DEPLOY / "README.md").read_text(encoding="utf-8").split())


@pytest.mark.parametrize(
    "line",
    [
        next(x for x in (DEPLOY / "crontab").read_text(encoding="utf-8").splitlines() if not x.startswith("#")),
        next(
            x for x in (DEPLOY / "haulm.service").read_text(encoding="utf-8").splitlines() if x.startswith("ExecStart")
        ),
    ],
    ids=["crontab", "service"],
)
def test_haulm_understands_what_is_started(line):
    words = re.search(r"/opt/haulm/bin/haulm ([^>]*)", line)[1]
    assert cli._parser().parse_args(shlex.split(words)).command


def test_the_lock_holds_versions_and_hashes_and_nothing_else():
    lines = (DEPLOY / "requirements.txt").read_text(encoding="utf-8").splitlines()
    assert lines
    assert [line for line in lines if not LOCKED.fullmatch(line)] == []


def test_the_lock_covers_what_the_project_declares():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    declared = {re.match(r"[\w.-]+", one)[0].casefold().replace("_", "-") for one in project["dependencies"]}
    lines = (DEPLOY / "requirements.txt").read_text(encoding="utf-8").splitlines()
    locked = {LOCKED.fullmatch(line)[1].casefold().replace("_", "-") for line in lines}
    assert declared <= locked


def test_nothing_of_this_machine_is_kept():
    for file in DEPLOY.iterdir():
        text = file.read_text(encoding="utf-8")
        assert "file://" not in text, file.name
        assert "--find-links" not in text.replace("--no-emit-find-links", ""), file.name
