"""Writes letters as the product does, but kills its process the first time; a worker imports it by this name."""

import os
import signal
from pathlib import Path

from haulm.jobs.write_chunk import Result, Task, write_chunk


def killed_once(task: Task) -> Result:
    flag = Path(os.environ["FLAG"])
    if not flag.exists():
        flag.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return write_chunk(task)
