"""The house rules of DEVELOPERS.md, read from the code: who may import whom, sizes, names with units."""

import ast
import dataclasses
import re
import subprocess
from pathlib import Path

import pytest

from haulm import advice, bed_water, condition, garden, taught, weather

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "service" / "haulm"
MODULES = sorted(PACKAGE.rglob("*.py"))

WORKERS = {"sources", "store", "beds", "alerts", "letter", "post"}
VOCABULARY = {"garden", "weather", "bed_water", "taught", "condition", "advice"}
GROUND = {"units", "errors", "files", "patience", "steps"}
MAY_IMPORT = {
    "__main__": {"cli"},
    "cli": {"commands", "__init__"} | GROUND,
    "commands": {"commands", "jobs", "settings", "__init__"} | VOCABULARY | GROUND,
    "jobs": {"jobs", "settings", "science", "__init__"} | WORKERS | VOCABULARY | GROUND,
    **{worker: {worker, "settings", "science", "__init__"} | VOCABULARY | GROUND for worker in WORKERS},
    "settings": {"settings", "science"} | VOCABULARY | GROUND,
    "science": {"science"},
    "bed_water": {"weather"} | GROUND,
    "advice": {"condition", "garden", "weather"} | GROUND,
    "condition": {"bed_water", "garden", "taught", "weather"} | GROUND,
    "taught": {"weather"},
    "garden": GROUND,
    "weather": GROUND,
    "units": {"errors"},
    "files": {"errors", "steps"},
    "patience": set(),
    "steps": set(),
    "errors": set(),
    "__init__": set(),
}
HOME_OF = {
    "requests": {"sources", "post"},
    "urllib3": {"sources"},
    "meteostat": {"sources"},
    "pandas": {"sources"},
    "sqlite3": {"store"},
    "jinja2": {"letter"},
    "matplotlib": {"letter"},
    "PIL": {"letter"},
    "icalendar": {"letter"},
    "shtab": {"commands"},
    "smtplib": {"post"},
    "imaplib": {"post"},
    "bs4": {"post"},
    "mailparser_reply": {"post"},
    "apscheduler": {"jobs"},
    "pydantic": {"settings"},
    "pydantic_settings": {"settings"},
    "pydantic_core": {"settings"},
    "astral": {"beds"},
}


def part_of(path: Path) -> str:
    first = path.relative_to(PACKAGE).parts[0]
    return first.removesuffix(".py")


def imported(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            assert node.level == 0, f"{path}: write imports in full"
            bare = node.module == "haulm"
            names |= {f"haulm.{alias.name}" for alias in node.names} if bare else {node.module}
    return names


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_run_one_way(path: Path) -> None:
    here = part_of(path)
    for name in imported(path):
        top, _, rest = name.partition(".")
        if top == "haulm":
            other = rest.split(".")[0] or "__init__"
            other = "__init__" if other.startswith("__") else other
            assert other in MAY_IMPORT[here], f"{here} must not import {name}"
        elif top in HOME_OF:
            assert here in HOME_OF[top], f"{top} lives in {HOME_OF[top]}, not in {here}"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_modules_stay_small(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) < 400


UNIT_ENDINGS = (
    "_c", "_mm", "_m", "_m2", "_ms", "_pct", "_deg", "_km", "_share", "_chance", "_days", "_index",
    "_hours", "_l", "_kg",
)  # fmt: skip
BARE_NUMBERS = {
    "share": "share of years, 0 to 1",
    "years": "count of years",
    "readings": "count of readings",
    "year": "of the calendar",
    "shoots_crops": "count of crops",
    "ripe_crops": "count of crops",
    "cloud": "share of the sky, 0 to 1",
    "chance": "0 to 1",
    "days_from_shoots": "days",
    "p_days_needed": "physiological days",
    "frost_after_shoots": "chance, 0 to 1",
    "urgency": "0 to 100",
    "level": "grade",
    "clear_chance": "0 to 1",
    "nights": "count of nights",
    "value": "house unit of its kind",
    "values": "house unit of what it runs over",
    "received": "seconds since 1970 UTC",
}


@pytest.mark.parametrize("module", [garden, weather, bed_water, taught, condition, advice], ids=lambda m: m.__name__)
def test_numeric_fields_name_their_unit(module: object) -> None:
    for kind in vars(module).values():
        if not (dataclasses.is_dataclass(kind) and kind.__module__ == module.__name__):  # type: ignore[attr-defined]
            continue
        for field in dataclasses.fields(kind):
            words = set(re.findall(r"\w+", str(field.type)))
            if words & {"float", "int", "FloatArray"} and "Mapping" not in words:
                named = field.name.endswith(UNIT_ENDINGS) or field.name in BARE_NUMBERS
                assert named, f"{kind.__name__}.{field.name} does not name its unit"


def test_the_top_level_is_fixed() -> None:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, check=True, capture_output=True, text=True).stdout
    tops = {line.split("/")[0] for line in listed.splitlines()}
    fixed = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "service", "config", "deploy", "tests"}
    assert {top for top in tops if not top.startswith(".")} <= fixed
