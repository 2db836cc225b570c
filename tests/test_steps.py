"""The list of steps and the places that take them agree both ways: none unused, nothing done without a name."""

import ast
from collections import Counter
from pathlib import Path

import pytest

from haulm.steps import Step

PACKAGE = Path(__file__).parent.parent / "service" / "haulm"
MODULES = {path.relative_to(PACKAGE).as_posix(): path for path in sorted(PACKAGE.rglob("*.py"))}
# What takes a step as an argument, and which one it is.
TAKERS = {"marked": 0, "transaction": 0, "write_whole": 2, "write_together": 1, "append_line": 2}
# What leaves a trace beyond the program: only inside `with marked(...)`.
EFFECTS = {"sendmail", "Popen", "write_text", "write_bytes", "rename"}
# Working copies in a temporary folder of their own, and the sample that is written by hand.
WORKING_COPIES = {"jobs/init.py", "sources/meteostat_parse.py", "settings/sample.py"}
GROUND = {"steps.py", "files.py"}


def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def called(node: ast.AST) -> str:
    if not isinstance(node, ast.Call):
        return ""
    return node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")


def reaches_out(node: ast.AST) -> bool:
    """Whether a call is one of those; `replace` of a path, unlike others of that name, takes one word."""
    moves = isinstance(node, ast.Call) and called(node) == "replace" and len(node.args) == 1 and not node.keywords
    return moves or called(node) in EFFECTS


def named(node: ast.AST) -> str:
    """The name in `Step.NAME`."""
    is_step = isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "Step"
    return node.attr if is_step else ""


def taken() -> Counter[str]:
    found: Counter[str] = Counter()
    for path in MODULES.values():
        for node in ast.walk(tree(path)):
            if called(node) in TAKERS:
                found.update(filter(None, (named(argument) for argument in node.args)))
    return found


def test_every_step_is_taken_somewhere_and_names_are_alike_nowhere() -> None:
    assert set(taken()) == set(Step.__members__)
    assert len(set(Step)) == len(Step.__members__)


@pytest.mark.parametrize("name", sorted(set(MODULES) - GROUND - {"store/database.py"}))
def test_nothing_is_committed_or_put_in_place_without_a_name(name: str) -> None:
    for node in ast.walk(tree(MODULES[name])):
        if called(node) in TAKERS:
            place = TAKERS[called(node)]
            assert len(node.args) > place, ast.unparse(node)
            assert named(node.args[place]), ast.unparse(node)
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            assert node.value not in {"COMMIT", "BEGIN IMMEDIATE"}, node.value


@pytest.mark.parametrize("name", sorted(set(MODULES) - WORKING_COPIES - GROUND))
def test_nothing_reaches_out_without_a_name(name: str) -> None:
    module = tree(MODULES[name])
    marked = {
        id(inside)
        for node in ast.walk(module)
        if isinstance(node, ast.With) and any(called(item.context_expr) == "marked" for item in node.items)
        for inside in ast.walk(node)
    }
    for node in ast.walk(module):
        if reaches_out(node):
            assert id(node) in marked, f"{name}, line {node.lineno}: {ast.unparse(node)}"
