"""Starts haulm over and over as processes of their own, by fork: what it imports is imported once.

Each line of standard input is a JSON object: words, folder, environ, kill, and the module whose `main` gets the words;
or, of one field, what else to import. The answer is the exit code, or the signal that ended the process as a negative
number. What it printed lies in the folder, in `printed`.
"""

import importlib
import json
import os
import sys
from pathlib import Path

from sitecustomize import travel, watch

# What the commands import when they are called, each on its own.
LATE = (
    "haulm.cli",
    *("haulm.jobs.answers", "haulm.jobs.calendar", "haulm.jobs.evening", "haulm.jobs.page", "haulm.jobs.replay"),
    *("haulm.letter.calendar_file", "matplotlib.backends.backend_agg", "matplotlib.figure", "time_machine"),
)


def child(job: dict) -> int:
    printed = os.open(Path(job["folder"]) / "printed", os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    os.dup2(printed, 1)
    os.dup2(printed, 2)
    os.chdir(job["folder"])
    os.environ.update(job["environ"])
    travel(os.environ.get("TRAVEL_TO", ""))
    watch(job["kill"], "")
    code = importlib.import_module(job["of"]).main(job["words"])
    sys.stdout.flush()
    return code


def ended(job: dict) -> int:
    process = os.fork()
    if process == 0:
        code = 70  # an error of the program itself
        try:
            code = child(job)
        finally:
            os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])


for module in LATE:
    importlib.import_module(module)
for line in sys.stdin:
    asked = json.loads(line)
    if "import" in asked:
        importlib.import_module(asked["import"])
    told = 0 if "import" in asked else ended(asked)
    sys.stdout.write(f"{told}\n")
    sys.stdout.flush()
