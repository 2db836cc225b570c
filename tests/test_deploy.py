"""What lies in deploy/: units that systemd accepts, a crontab line that haulm understands, a lock of hashes alone."""

import re
import shlex
import shutil
import subprocess
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from haulm import cli
from haulm.commands import morning
from haulm.errors import Exit, SettingsError
from haulm.settings.load import load

ROOT = Path(__file__).parent.parent
DEPLOY = ROOT / "deploy"
CONFIG = ROOT / "config" / "haulm.toml"
UNITS = ("haulm.service", "haulm.timer", "haulm-failed.service", "haulm-evening.service", "haulm-evening.timer")
STARTING = ("haulm.service", "haulm-evening.service")
LOCKED = re.compile(r"([A-Za-z0-9._-]+)==([^\s;]+)( --hash=sha256:[0-9a-f]{64})+")


def read(name: str) -> str:
    return (DEPLOY / name).read_text(encoding="utf-8")


def values(unit: str, key: str) -> list[str]:
    """What a unit file says under a key, in its order."""
    return re.findall(rf"^{key}=(.*)$", read(unit), re.MULTILINE)


def crontab() -> list[str]:
    return [line for line in read("crontab").splitlines() if not line.startswith("#")]


def locked() -> dict[str, str]:
    """The version of each package that is locked, by its normal name."""
    found = (LOCKED.fullmatch(line) for line in read("requirements.txt").splitlines())
    return {match[1].casefold().replace("_", "-"): match[2] for match in found if match}


@pytest.fixture
def analyze() -> str:
    found = shutil.which("systemd-analyze")
    if found is None:
        pytest.skip("systemd-analyze is not on this machine")
    return found


def test_systemd_accepts_the_units(analyze: str, tmp_path: Path) -> None:
    """The program need not be installed where the unit expects it: an executable stands in for it."""
    stand_in = tmp_path / "haulm"
    stand_in.write_text("#!/bin/sh\n")
    stand_in.chmod(0o755)
    for name in UNITS:
        (tmp_path / name).write_text(read(name).replace("/opt/haulm/bin/haulm", str(stand_in)), encoding="utf-8")
    done = subprocess.run(
        [analyze, "verify", "--man=no", *(str(tmp_path / name) for name in UNITS)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr.strip()) == (0, "")


@pytest.mark.parametrize(
    ("unit", "words", "most"),
    [
        ("haulm.service", "exposure of {:g} when", 1.5),
        ("haulm-evening.service", "exposure of {:g} when", 1.5),
        ("haulm-failed.service", "need not, has {:g}.", 1.0),
    ],
)
def test_the_services_are_hardened_as_the_notes_say(analyze: str, unit: str, words: str, most: float) -> None:
    done = subprocess.run(
        [analyze, "security", "--offline=true", "--no-pager", str(DEPLOY / unit)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    found = re.search(rf"exposure level for {re.escape(unit)}: ([\d.]+)", done.stdout)
    assert found, done.stdout + done.stderr
    assert float(found[1]) <= most
    assert words.format(float(found[1])) in " ".join(read("README.md").split())


def test_a_call_outside_the_filter_is_refused_and_does_not_kill() -> None:
    """Without it, numpy's mbind ends each morning with SIGSYS: seen by giving it that signal under strace."""
    assert values("haulm.service", "SystemCallFilter")
    assert values("haulm.service", "SystemCallErrorNumber") == ["EPERM"]


def test_only_what_may_pass_by_waiting_is_tried_again() -> None:
    assert values("haulm.service", "Restart") == ["on-failure"]
    codes = {int(code) for code in values("haulm.service", "RestartPreventExitStatus")[0].split()}
    assert codes == set(Exit) - {Exit.DONE, Exit.TRY_LATER}


def test_what_the_units_and_notes_name_is_there() -> None:
    assert values("haulm.service", "OnFailure") == ["haulm-failed.service"]
    assert values("haulm.timer", "Unit") in ([], ["haulm.service"])
    for name in re.findall(r"deploy/([\w.-]+\w)", read("README.md")):
        assert (DEPLOY / name).is_file(), name


MAIL_KEYS = ("[post.mail]", "host = ", "user = ", "sender = ")
MAILBOX_KEYS = ("[post.mailbox]", "address = ", "host = ", "user = ")


@pytest.mark.parametrize("keys", [(), MAIL_KEYS, MAILBOX_KEYS], ids=["neither", "mail", "mailbox"])
def test_the_empty_passwords_are_passed_over_and_refused_where_one_is_needed(
    tmp_path: Path, keys: tuple[str, ...]
) -> None:
    """What the unit hands over where the password files are missing."""
    empty = dict(value.split(":", 1) for value in values("haulm.service", "SetCredential"))
    assert set(empty) == {"post.mail.password", "post.mailbox.password"}
    for name, secret in empty.items():
        (tmp_path / name).write_text(secret.replace(r"\n", "\n"), encoding="utf-8")
    text = CONFIG.read_text(encoding="utf-8")
    head, table, tail = text.partition(f"# {keys[0]}") if keys else (text, "", "")
    for key in keys[1:]:
        assert f"# {key}" in tail
        tail = tail.replace(f"# {key}", key, 1)
    text = head + table.removeprefix("# ") + tail
    settings = tmp_path / "garden.toml"
    settings.write_text(text, encoding="utf-8")
    environ = {"CREDENTIALS_DIRECTORY": str(tmp_path)}
    if keys:
        with pytest.raises(SettingsError, match="must hold one line with the secret"):
            load(settings, environ)
    else:
        post = load(settings, environ).post
        assert (post.mail, post.mailbox) == (None, None)


def test_the_evening_is_kept_as_close_as_the_morning() -> None:
    """The same user, folders and walls: from DynamicUser on the two services are one text."""
    morning_unit, evening_unit = (read(name).split("DynamicUser=yes", 1)[1] for name in STARTING)
    assert morning_unit == evening_unit
    assert values("haulm-evening.service", "OnFailure") == ["haulm-failed.service"]
    assert values("haulm-evening.service", "SuccessExitStatus") == [str(int(Exit.TRY_LATER))]
    assert values("haulm-evening.timer", "Unit") in ([], ["haulm-evening.service"])


STARTED = [*crontab(), *(line for unit in STARTING for line in values(unit, "ExecStart"))]


@pytest.mark.parametrize("line", STARTED)
def test_haulm_understands_what_is_started(line: str) -> None:
    words = re.search(r"/opt/haulm/bin/haulm ([^>]*)", line)
    assert words, line
    asked = cli._parser().parse_args(shlex.split(words[1]))
    assert asked.command is morning._schedule
    assert asked.once is True
    assert asked.evening is ("--evening" in line)


def test_morning_and_evening_are_both_started() -> None:
    for lines in (crontab(), STARTED[-2:]):
        assert ["--evening" in line for line in lines] == [False, True]


@pytest.mark.parametrize("line", crontab())
def test_cron_reads_the_crontab_line_to_its_end(line: str) -> None:
    """Five fields of time, and no bare percent sign, at which cron would cut the line."""
    assert all(re.fullmatch(r"[\d*,/-]+", field) for field in line.split()[:5])
    assert not re.search(r"(?<!\\)%", line)


@pytest.mark.parametrize("line", crontab())
def test_the_shell_reads_the_crontab_line(line: str) -> None:
    command = line.split(maxsplit=5)[5].replace(r"\%", "%")
    done = subprocess.run(["sh", "-n", "-c", command], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_the_lock_holds_versions_and_hashes_and_nothing_else() -> None:
    lines = read("requirements.txt").splitlines()
    assert lines
    assert [line for line in lines if not LOCKED.fullmatch(line)] == []


def test_the_lock_covers_what_the_project_declares() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    names = [re.split(r"[^\w.-]", one, maxsplit=1)[0] for one in project["dependencies"]]
    assert {name.casefold().replace("_", "-") for name in names} <= set(locked())


def test_the_lock_holds_versions_that_the_project_asks_for() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    versions = locked()
    asked = [Requirement(one) for one in project["dependencies"]]
    assert [str(one) for one in asked if not one.specifier.contains(versions[one.name.casefold()])] == []
    assert len(versions) == len(read("requirements.txt").splitlines()), "a package is locked twice"


def test_each_point_that_is_left_has_its_reason(analyze: str) -> None:
    done = subprocess.run(
        [analyze, "security", "--offline=true", "--no-pager", str(DEPLOY / "haulm.service")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    left = re.findall(r"^✗ ([A-Za-z]+=(?:~AF_\(?[A-Z]+)?)", done.stdout, re.MULTILINE)
    assert left
    told = " ".join(re.findall(r"^\| `(.*?)` \|", read("README.md"), re.MULTILINE))
    assert [one for one in left if one.replace("(", "") not in told] == []


def test_each_threat_names_a_test_that_is_there() -> None:
    rows = [line for line in read("threats.md").splitlines() if re.match(r"\| (?!they could|---)", line)]
    named = [re.findall(r"`(tests/[\w/]+\.py)(?:::(\w+))?`", row) for row in rows]
    assert len(rows) > 20
    assert [row for row, tests in zip(rows, named, strict=True) if not tests] == []
    for file, name in (one for tests in named for one in tests):
        text = (ROOT / file).read_text(encoding="utf-8")
        assert not name or f"\ndef {name}(" in text, f"{file}::{name}"
    for file in re.findall(r"`(?:\w+/)+\w+\.py`", " ".join(row.split("|")[2] for row in rows)):
        assert (ROOT / "service" / "haulm" / file.strip("`")).is_file(), file


def test_nothing_of_this_machine_is_kept() -> None:
    for file in DEPLOY.iterdir():
        text = file.read_text(encoding="utf-8")
        assert "file://" not in text, file.name
        assert "--find-links" not in text.replace("--no-emit-find-links", ""), file.name
