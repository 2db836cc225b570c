"""Where the log leads: systemd's journal with its levels, the system's own log, or standard error as it is."""

import os
import socket
import subprocess
import sys

import pytest

PROGRAM = """
import logging, os, sys
from pathlib import Path
from haulm import cli
from haulm.jobs.system_log import open_log
open_log(os.environ, Path(sys.argv[1]))
logging.getLogger("haulm").info("a letter")
logging.getLogger("haulm").error("a fault\\n  and what to do")
cli.main(["morning", "--settings", "nowhere.toml"])
"""
ENDED = """haulm: nowhere.toml: 1 fault in the settings
  - there is no such file.
  Copy config/haulm.toml and write your own garden into it; haulm demo needs no settings.
"""


def run(system_log, stderr, **environ):
    usual = {name: value for name, value in os.environ.items() if name != "JOURNAL_STREAM"}
    words = [sys.executable, "-c", PROGRAM, str(system_log)]
    return subprocess.run(words, env=usual | environ, stderr=stderr, text=True, check=True)


def test_the_journal_is_told_how_grave_each_line_is(tmp_path):
    with (tmp_path / "stream").open("w") as stream:
        stat = os.fstat(stream.fileno())
        run(tmp_path / "none", stream, JOURNAL_STREAM=f"{stat.st_dev}:{stat.st_ino}")
    assert (tmp_path / "stream").read_text() == f"<6>a letter\n<3>a fault\n<3>  and what to do\n{ENDED}"


@pytest.mark.parametrize("stream", [{}, {"JOURNAL_STREAM": "8:1"}])
def test_standard_error_that_is_no_journal_has_no_levels(tmp_path, stream):
    told = run(tmp_path / "none", subprocess.PIPE, **stream).stderr
    assert told == f"a letter\na fault\n  and what to do\n{ENDED}"


def test_the_systems_own_log_gets_levels_and_the_fault_that_ended_the_run(tmp_path):
    path = tmp_path / "log"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as log:
        log.bind(str(path))
        log.settimeout(5)
        assert run(path, subprocess.PIPE).stderr == ENDED
        told = [log.recv(4096).decode().rstrip("\0") for _ in range(3)]
    # RFC 5424, 6.2.1: facility 1 (user) times eight and the level, 6 for information and 3 for an error.
    assert told[0] == "<14>haulm: a letter"
    assert told[1].startswith("<11>haulm: a fault")
    assert told[2].startswith("<11>haulm: nowhere.toml: 1 fault in the settings")
