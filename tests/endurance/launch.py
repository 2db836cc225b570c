"""Stands where Python stands for a process that `haulm` starts: has the fork server start it, and ends as it ended."""

import json
import os
import signal
import socket
import sys

words = sys.argv[1:]
while words and words[0] != "haulm":
    words = words[1:]
with socket.socket(socket.AF_UNIX) as door:
    door.connect(os.environ["YEAR_OF_ZYGOTE"])
    asked = {"words": words[1:], "environ": dict(os.environ), "folder": os.getcwd()}  # noqa: PTH109  pathlib takes its time to load
    socket.send_fds(door, [json.dumps(asked).encode() + b"\n"], [0, 1, 2])
    ended = json.loads(door.makefile().readline())
if ended["signal"]:
    signal.signal(ended["signal"], signal.SIG_DFL) if ended["signal"] != signal.SIGKILL else None
    os.kill(os.getpid(), ended["signal"])
sys.exit(ended["code"])
