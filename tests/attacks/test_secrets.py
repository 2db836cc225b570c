"""Files that only their owner can read, and secrets that stand nowhere but where they were put."""

import os
import stat
import subprocess
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from haulm.files import append_line, make_folder, passing_folder, write_whole
from haulm.settings.load import load
from haulm.steps import Step

Run = Callable[..., subprocess.CompletedProcess[str]]
SECRETS = {
    "post.mail.password": "mail-of-straw-4711",
    "post.mailbox.password": "box-of-straw-4712",
    "post.webhook.secret": "hook-of-straw-4713",
    "post.heartbeat.url": "https://127.0.0.1:1/beat-of-straw-4714",
}
PATH_TOKEN = "path-of-straw-4715"  # noqa: S105  a test's own
TABLES = f"""
[recipients.neighbour]
name = "A neighbour"
address = "neighbour@example.org"

[post.mail]
host = "127.0.0.1"
port = 1
user = "haulm"
sender = "haulm@example.org"
timeout_seconds = 1

[post.mailbox]
address = "haulm@example.org"
host = "127.0.0.1"
port = 1
user = "haulm"
timeout_seconds = 1

[post.webhook]
url = "https://127.0.0.1:1/{PATH_TOKEN}"
timeout_seconds = 1

[post.heartbeat]
timeout_seconds = 1
"""
TOKENS = [*(secret.rpartition("/")[2] for secret in SECRETS.values()), PATH_TOKEN]


@pytest.fixture
def secretive(garden: Path, tmp_path: Path) -> tuple[Path, dict[str, str]]:
    """A garden with every kind of secret, handed over as systemd does; no server listens."""
    text = garden.read_text(encoding="utf-8")
    text = text.replace('# folder = "letters"', 'folder = "letters"').replace('# pages = "pages"', 'pages = "pages"')
    garden.write_text(text + TABLES, encoding="utf-8")
    credentials = tmp_path / "credentials"
    credentials.mkdir(mode=0o700)
    for name, secret in SECRETS.items():
        (credentials / name).write_text(f"{secret}\n")
    return garden, {"CREDENTIALS_DIRECTORY": str(credentials)}


def test_no_secret_leaves_its_place(secretive: tuple[Path, dict[str, str]], haulm: Run, tmp_path: Path) -> None:
    """Everything that a person, a log, a page, a letter or a copy of the store may show, with every server failing."""
    garden, environ = secretive
    said = ""
    for words in (
        ("check",), ("check", "--live"), ("check", "--live", "--json"), ("morning",), ("morning", "--json"),
        ("morning", "--dry-run"), ("evening", "--dry-run"), ("answers",), ("status",), ("status", "--json"),
        ("status", "--tell"), ("schedule", "--once"), ("page",), ("notes",), ("mend", "--dry-run"),
    ):  # fmt: skip
        done = haulm(*words, "--settings", str(garden), HAULM_TRACE="1", **environ)
        said += done.stdout + done.stderr
    assert "connection refused" in said
    assert "post.webhook" in said
    for token in TOKENS:
        assert token not in said, token
    kept = [path for path in tmp_path.rglob("*") if path.is_file() and path.parent.name != "credentials"]
    assert any("backups" in path.parts for path in kept)
    for token in TOKENS:
        holders = [path for path in kept if token.encode() in path.read_bytes() or token in path.name]
        assert holders == ([garden] if token == PATH_TOKEN else []), token


def test_no_secret_stands_in_a_fault_of_the_settings(secretive: tuple[Path, dict[str, str]], haulm: Run) -> None:
    garden, environ = secretive
    garden.write_text(garden.read_text().replace("timeout_seconds = 1", "timeout_secondz = 1"))
    done = haulm("check", str(garden), HAULM_TRACE="1", **environ)
    assert done.returncode == 2
    assert not [token for token in TOKENS if token in done.stdout + done.stderr]


def test_what_is_kept_is_closed_to_others_whatever_the_umask(
    secretive: tuple[Path, dict[str, str]], haulm: Run, tmp_path: Path
) -> None:
    garden, environ = secretive
    for words in (("morning",), ("note", "gatebed", "chitting begun"), ("schedule", "--once")):
        haulm(*words, "--settings", str(garden), umask=0, **environ)
    state = [tmp_path / "state", *(tmp_path / "state").rglob("*")]
    assert len(state) > 8
    open_to_others = [path for path in state if stat.S_IMODE(path.stat().st_mode) & 0o077]
    assert open_to_others == []
    # Pages are to be read by whoever may enter their folder, which is its owner's to open; letters by nobody else.
    for folder in ("letters", "pages"):
        assert stat.S_IMODE((tmp_path / folder).stat().st_mode) == 0o700
    letters = [path for path in (tmp_path / "letters").rglob("*") if path.is_file()]
    assert {stat.S_IMODE(path.stat().st_mode) for path in letters} == {0o600}


def test_a_file_that_nobody_said_more_of_is_its_owners(tmp_path: Path) -> None:
    usual = os.umask(0)
    try:
        make_folder(tmp_path / "state")
        write_whole(tmp_path / "state" / "whole", b"x", Step.FETCH_KEPT)
        append_line(tmp_path / "state" / "lines", b"x\n", Step.NOTE_WRITTEN)
    finally:
        os.umask(usual)
    made = [tmp_path / "state", *(tmp_path / "state").iterdir()]
    assert [stat.S_IMODE(path.stat().st_mode) for path in made] == [0o700, 0o600, 0o600]


@pytest.mark.parametrize(("mode", "told"), [(0o644, True), (0o640, True), (0o600, False)])
def test_secrets_in_settings_that_others_can_read_are_told(garden: Path, mode: int, told: bool) -> None:
    hook = '\n[post.webhook]\nurl = "https://hooks.example.org/"\nsecret = "hook-of-straw-4713"\n'
    garden.write_text(garden.read_text() + hook)
    garden.chmod(mode)
    notes = " ".join(load(garden).notes)
    assert ("others on this machine can read it" in notes) is told
    assert "4713" not in notes


def test_what_a_killed_run_left_in_passing_goes_with_the_next(tmp_path: Path) -> None:
    old, new, link = (tmp_path / f"haulm-passing-{name}" for name in ("old", "new", "link"))
    own = tmp_path / "haulm-demo"
    for folder in (old, new, own):
        (folder / "spool").mkdir(parents=True)
        (folder / "spool" / "days").write_text("x")
    link.symlink_to(own)
    for path in (old, own, link):
        os.utime(path, (time.time() - 7200,) * 2, follow_symlinks=False)
    with passing_folder(tmp_path) as folder:
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700
        assert sorted(tmp_path.iterdir()) == sorted([own, new, link, folder])
        assert (own / "spool" / "days").is_file()
    assert not folder.exists()
