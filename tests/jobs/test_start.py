"""A plain morning loads no more than it needs, so that its start stays quick: see `tests/speed/start.py`."""

import importlib.util
import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

SCRIPT = Path(__file__).parent.parent / "speed" / "start.py"
LOOKS = """
import sys
from haulm.cli import main
code = main("morning --dry-run --settings haulm.toml --state state".split())
needless = {"requests", "urllib3", "meteostat", "pandas", "haulm.jobs.page", "haulm.jobs.answers"}
print(code, "matplotlib.figure" in sys.modules, sorted(needless & set(sys.modules)))
"""


def test_a_morning_from_an_own_file_loads_no_network_pages_or_answers(tmp_path):
    spec = importlib.util.spec_from_file_location("start", SCRIPT)
    start = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(start)
    start.lay_out(tmp_path, datetime.now(UTC).date())
    shown = subprocess.run(
        [sys.executable, "-c", LOOKS], cwd=tmp_path, env=os.environ, capture_output=True, text=True, check=True
    )
    assert shown.stdout.splitlines()[-1] == "0 True []"
