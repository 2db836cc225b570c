"""Mutation testing of what may never be wrong: science, alerts, and the outbox.

    python tests/mutation/run.py [--count N] [--seed S] [--only TEXT] [--kept FILE] [--again FILE] [--jobs N]

Each mutant is a module with one small wrong in it (`mutants.py`), put in place of the real one as it is imported;
nothing on the disk changes. Of a seeded sample, each meets the tests that cover its module: those named after it, then
those beside them that import it, and, if it survives these, all others that import it and those named after the modules
that do. Prints a score a module and every survivor. `--kept` keeps results from run to run; `--again` tries only the
survivors of such a file.

`examined.toml` lists mutants that were looked at and need no test, each with the reason: where one is drawn, it is not
tried, and counted by itself. What `LONG` names is left to the suite, so a score is the least that the tests reach.
"""

import argparse
import ast
import importlib.abc
import importlib.util
import json
import os
import signal
import sys
import time
import tomllib
from collections import Counter
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from types import CodeType, ModuleType
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))
from mutants import Mutant, all_mutants, sample, shares, tree_of

ROOT = Path(__file__).parents[2]
SERVICE = ROOT / "service"
OUTBOX = ("store/letters", "store/post_book", "store/mornings", "jobs/deliver")
LEAST_EACH = 6
SPARE_S = 15.0
PYTEST = (
    "-x", "-q", "--no-header", "--tb=no", "-p", "no:randomly", "-p", "no:cacheprovider",
    "--hypothesis-seed=0", "--hypothesis-profile=mutants",
)  # fmt: skip
EXAMINED = Path(__file__).with_name("examined.toml")
# Whole runs, one after the other: minutes for each mutant; or runs as processes of their own, that meet none.
LONG = frozenset(
    f"tests/jobs/test_{name}.py"
    for name in (
        *("any_post", "evening", "gardens", "kept_store", "mend", "morning"),
        *("page", "review", "schedule", "unsent", "upgrade"),
    )
)
WHOLE_TABLE = {"alerts": ("tests/alerts/test_rules.py",)}


@dataclass(frozen=True, slots=True)
class Fate:
    """What became of a mutant: "killed", "survived", "timed out" (which counts as killed), or "examined" before."""

    mutant: Mutant
    became: str
    took_s: float


class _InItsPlace(importlib.abc.MetaPathFinder, importlib.abc.InspectLoader):
    """Gives one module from a changed tree, whoever imports it."""

    def __init__(self, name: str, path: Path, tree: ast.Module) -> None:
        self._name, self._path, self._code = name, path, compile(tree, str(path), "exec")

    def find_spec(self, name: str, path: object, target: ModuleType | None = None) -> Any:
        return importlib.util.spec_from_loader(name, self, origin=str(self._path)) if name == self._name else None

    def get_code(self, fullname: str) -> CodeType:
        return self._code

    def get_source(self, fullname: str) -> str:
        return self._path.read_text(encoding="utf-8")

    def exec_module(self, module: ModuleType) -> None:
        module.__file__ = str(self._path)
        exec(self._code, module.__dict__)  # noqa: S102  the mutant itself


def modules() -> dict[str, Path]:
    """The modules under test, with their paths."""
    paths = [*SERVICE.glob("haulm/science/*.py"), *SERVICE.glob("haulm/alerts/*.py")]
    paths += [SERVICE / "haulm" / f"{name}.py" for name in OUTBOX]
    return {_name(path): path for path in sorted(paths) if path.stem != "__init__"}


def _name(path: Path) -> str:
    return ".".join(path.relative_to(SERVICE).with_suffix("").parts)


def imported(path: Path) -> set[str]:
    """The modules that a file imports, wherever it does."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{one.name}" for one in node.names)}
        elif isinstance(node, ast.Import):
            found |= {one.name for one in node.names}
    return found


class Cover:
    """Which tests cover which module."""

    def __init__(self) -> None:
        # What needs a mail server of its own is left out: killed at its time limit, it would leave that behind.
        found = (
            path
            for path in sorted(ROOT.glob("tests/**/test_*.py"))
            if path.parent.name not in {"answers", "kill"} and str(path.relative_to(ROOT)) not in LONG
        )
        self._tests = {path: imported(path) for path in found}
        self._service = {_name(path): imported(path) for path in SERVICE.rglob("*.py")}

    def near(self, module: str) -> list[str]:
        """The tests named after a module, then those beside them that import it."""
        package = module.split(".")[1]
        table = [ROOT / name for name in WHOLE_TABLE.get(package, ()) if (ROOT / name).exists()]
        beside = [path for path in self._importing(module) if path.parent.name == package]
        return _said(dict.fromkeys([*self._named(module), *table, *beside]))

    def far(self, module: str) -> list[str]:
        """All other tests that import it, and those named after the modules that do."""
        near = self.near(module)
        importers = [name for name, names in self._service.items() if module in names]
        named = [path for name in importers for path in self._named(name)]
        return [path for path in _said(dict.fromkeys([*self._importing(module), *named])) if path not in near]

    def _importing(self, module: str) -> list[Path]:
        return [path for path, names in self._tests.items() if module in names]

    def _named(self, module: str) -> list[Path]:
        *_, package, stem = module.split(".")
        return [path for path in self._tests if path.parent.name == package and path.stem == f"test_{stem}"]


def _said(paths: Iterable[Path]) -> list[str]:
    return [str(path.relative_to(ROOT)) for path in paths]


def warm_up() -> None:
    """Import what is slow to import and no part of haulm, once for all: each mutant's process is a fork."""
    import hypothesis
    import jinja2
    import matplotlib.figure
    import numpy
    import pydantic
    import pytest
    import requests

    held = (jinja2, matplotlib.figure, numpy, pydantic, pytest, requests)
    phases = (hypothesis.Phase.explicit, hypothesis.Phase.generate)  # nobody reads the smallest example here
    hypothesis.settings.register_profile("mutants", phases=phases, database=None, derandomize=True, deadline=None)
    assert all(held)


def tried(tests: Sequence[str], limit_s: float, put: _InItsPlace | None) -> tuple[str, float]:
    """Run tests in a process of their own, with a mutant in its place if one is given."""
    began = time.monotonic()
    child = os.fork()
    if child == 0:
        _in_the_child(tests, put)
    while (left := limit_s - (time.monotonic() - began)) > 0:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            code = os.waitstatus_to_exitcode(status)
            return ("survived" if code == 0 else "killed"), time.monotonic() - began
        time.sleep(min(0.05, left))
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return "timed out", time.monotonic() - began


def _in_the_child(tests: Sequence[str], put: _InItsPlace | None) -> None:
    code = 99
    try:
        os.setsid()
        silent = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(silent, stream)
        os.chdir(ROOT)
        if put is not None:
            sys.meta_path.insert(0, put)
        import pytest

        code = int(pytest.main([*PYTEST, *tests]))
    finally:
        os._exit(code)


class Trial:
    """Tries mutants against the tests of their modules; how long those take on the sound module is asked once."""

    def __init__(self) -> None:
        self._cover, self._sound_s = Cover(), dict[tuple[str, ...], float]()

    def fate(self, mutant: Mutant, path: Path) -> Fate:
        put = _InItsPlace(mutant.module, path, tree_of(mutant, path))
        became, whole = "survived", 0.0
        for tests in (self._cover.near(mutant.module), self._cover.far(mutant.module)):
            if tests and became == "survived":
                became, took_s = tried(tests, 4.0 * self._sound(tuple(tests)) + SPARE_S, put)
                whole += took_s
        return Fate(mutant, became, whole)

    def _sound(self, tests: tuple[str, ...]) -> float:
        if tests not in self._sound_s:
            became, took_s = tried(tests, 900.0, None)
            if became != "survived":
                how = "not done in 900 s" if became == "timed out" else "not green"
                raise SystemExit(f"without any mutant these tests are {how}: {' '.join(tests)}")
            self._sound_s[tests] = took_s
        return self._sound_s[tests]


def drawn(count: int, seed: int, only: str) -> list[Mutant]:
    """The sample over all modules, or over those whose name holds a text."""
    found = {name: all_mutants(name, path) for name, path in modules().items()}
    wanted = shares({name: len(each) for name, each in found.items()}, count, LEAST_EACH)
    return [one for name, many in wanted if only in name for one in sample(found[name], many, seed)]


def examined() -> frozenset[str]:
    """The keys of the mutants that were looked at; tells of those that the source no longer offers."""
    told = {one["mutant"] for one in tomllib.loads(EXAMINED.read_text(encoding="utf-8"))["examined"]}
    there = {one.key for name, path in modules().items() for one in all_mutants(name, path)}
    for gone in sorted(told - there):
        print(f"{EXAMINED.name}: no mutant any more: {gone}")
    return frozenset(told)


def survivors_of(kept: Path) -> list[Mutant]:
    """The mutants that survived by a file of results, and are still to be had of the source as it is."""
    told = {row["key"] for row in _rows(kept) if row["became"] == "survived"}
    return [one for name, path in modules().items() for one in all_mutants(name, path) if one.key in told]


def _rows(kept: Path | None) -> list[dict[str, str]]:
    if kept is None or not kept.exists():
        return []
    return [json.loads(line) for line in kept.read_text(encoding="utf-8").splitlines()]


def tell(rows: Sequence[dict[str, str]]) -> None:
    """A score a module, the score of each part, and the survivors."""
    parts: dict[str, Counter[str]] = {}
    each: dict[str, Counter[str]] = {}
    for row in rows:
        module = row["key"].split()[0]
        part = module.split(".")[0] if module.split(".")[0] in {"science", "alerts"} else "the outbox"
        for counts in (parts.setdefault(part, Counter()), each.setdefault(module, Counter())):
            counts[row["became"]] += 1
    for row in rows:
        if row["became"] == "survived":
            print(f"survived  {row['where']}: {row['key']}")
    for name, counts in [*each.items(), *parts.items()]:
        killed, known = counts["killed"] + counts["timed out"], counts["examined"]
        print(f"{name:28} killed {killed:4} of {counts.total():4}, examined {known:3}, survived {counts['survived']:3}")


def main() -> None:
    words = argparse.ArgumentParser(description="Mutation testing of science, alerts and the outbox.")
    words.add_argument("--count", type=int, default=450)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--only", default="")
    words.add_argument("--kept", type=Path)
    words.add_argument("--again", type=Path)
    words.add_argument("--jobs", type=int, default=1)
    given = words.parse_args()
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    os.environ.pop("HAULM_MEASURED_DATA", None)
    warm_up()
    rows = [row for row in _rows(given.kept) if given.again is None]
    done = {row["key"] for row in rows}
    asked = survivors_of(given.again) if given.again else drawn(given.count, given.seed, given.only)
    trial, paths = Trial(), modules()
    left = [one for one in asked if one.key not in done and given.only in one.module]
    known = examined()
    rows += [{"key": one.key, "where": "", "became": "examined"} for one in left if one.key in known]
    left = [one for one in left if one.key not in known]
    with ThreadPoolExecutor(given.jobs) as hands:
        for fate in hands.map(lambda one: trial.fate(one, paths[one.module]), left):
            one = fate.mutant
            where = f"{paths[one.module].relative_to(SERVICE)}:{one.line}"
            rows.append({"key": one.key, "where": where, "became": fate.became})
            print(f"{fate.became:9} {fate.took_s:5.1f} s  {where}: {one.key}", flush=True)
            if given.kept:
                with given.kept.open("a", encoding="utf-8") as out:
                    out.write(json.dumps(rows[-1]) + "\n")
    tell(rows)


if __name__ == "__main__":
    main()
