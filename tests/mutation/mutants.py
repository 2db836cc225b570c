"""Small wrongs put into a module's source, one at a time: operators, comparisons, constants, conditions, returns."""

import ast
import hashlib
import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

_COMPARED: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE), ast.LtE: (ast.Lt, ast.Gt), ast.Gt: (ast.GtE, ast.LtE), ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,), ast.NotEq: (ast.Eq,), ast.Is: (ast.IsNot,), ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,), ast.NotIn: (ast.In,),
}  # fmt: skip
_RECKONED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult,
    ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip
_CALLED = {
    "min": "max", "max": "min", "any": "all", "all": "any", "minimum": "maximum", "maximum": "minimum",
    "nanmin": "nanmax", "nanmax": "nanmin", "floor": "ceil", "ceil": "floor", "cumsum": "cumprod", "argmax": "argmin",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Mutant:
    """One wrong: where it stands, what is changed into what.

    `inside` names the functions and classes around it; it is the `nth` of those with the same change there, so that its
    key stands while other parts of the module change.
    """

    module: str
    inside: str
    line: int
    was: str
    now: str
    nth: int
    number: int  # of all that the module offers

    @property
    def key(self) -> str:
        return f"{self.module.removeprefix('haulm.')} {self.inside}: {self.was} -> {self.now} ({self.nth})"


class _Wrongs(ast.NodeTransformer):
    """Numbers every wrong that can be done to a module; does the one asked for, if any."""

    def __init__(self, wanted: int = -1) -> None:
        self.wanted = wanted
        self.found: list[tuple[str, int, str, str]] = []
        self._around: list[str] = []
        self._functions = 0

    def _offer(self, node: ast.AST, *others: ast.AST) -> ast.AST:
        """The node, or that of its alternatives which was asked for."""
        for other in others:
            self.found.append((".".join(self._around), getattr(node, "lineno", 0), _told(node), _told(other)))
            if len(self.found) - 1 == self.wanted:
                return ast.fix_missing_locations(ast.copy_location(other, node))
        return node

    # Types are no behaviour: annotations are passed over, and unions outside functions.

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        self._around.append(node.name)
        self._functions += 1
        node.args.defaults = [self.visit(one) for one in node.args.defaults]
        node.args.kw_defaults = [one and self.visit(one) for one in node.args.kw_defaults]
        node.body = [self.visit(one) for one in node.body]
        self._functions -= 1
        self._around.pop()
        return node

    def visit_ClassDef(self, node: ast.ClassDef) -> ast.AST:
        self._around.append(node.name)
        node.body = [self.visit(one) for one in node.body]
        self._around.pop()
        return node

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST:
        node.value = node.value and self.visit(node.value)
        return node

    def visit_arg(self, node: ast.arg) -> ast.AST:
        return node

    def visit_Compare(self, node: ast.Compare) -> ast.AST:
        self.generic_visit(node)
        others = [
            ast.Compare(node.left, [*node.ops[:at], other(), *node.ops[at + 1 :]], node.comparators)
            for at, op in enumerate(node.ops)
            for other in _COMPARED[type(op)]
        ]
        return self._offer(node, *others)

    def visit_BinOp(self, node: ast.BinOp) -> ast.AST:
        self.generic_visit(node)
        other = _RECKONED.get(type(node.op))
        if other is None or (isinstance(node.op, ast.BitOr) and not self._functions):
            return node
        return self._offer(node, ast.BinOp(node.left, other(), node.right))

    def visit_AugAssign(self, node: ast.AugAssign) -> ast.AST:
        self.generic_visit(node)
        other = _RECKONED.get(type(node.op))
        return node if other is None else self._offer(node, ast.AugAssign(node.target, other(), node.value))

    def visit_BoolOp(self, node: ast.BoolOp) -> ast.AST:
        self.generic_visit(node)
        return self._offer(node, ast.BoolOp(ast.And() if isinstance(node.op, ast.Or) else ast.Or(), node.values))

    def visit_UnaryOp(self, node: ast.UnaryOp) -> ast.AST:
        self.generic_visit(node)
        return self._offer(node, node.operand)

    def visit_Constant(self, node: ast.Constant) -> ast.AST:
        value = node.value
        if isinstance(value, bool):
            return self._offer(node, ast.Constant(not value))
        if isinstance(value, int):
            return self._offer(node, ast.Constant(value + 1))
        if isinstance(value, float):
            return self._offer(node, ast.Constant(value * 1.1 if value else 1.0))
        return node

    def visit_JoinedStr(self, node: ast.JoinedStr) -> ast.AST:
        return node

    def visit_Call(self, node: ast.Call) -> ast.AST:
        self.generic_visit(node)
        func = node.func
        name = func.id if isinstance(func, ast.Name) else func.attr if isinstance(func, ast.Attribute) else ""
        if name not in _CALLED:
            return node
        swapped = (
            ast.Name(_CALLED[name], ast.Load())
            if isinstance(func, ast.Name)
            else ast.Attribute(func.value, _CALLED[name], ast.Load())  # type: ignore[union-attr]
        )
        return self._offer(node, ast.Call(swapped, node.args, node.keywords))

    def visit_If(self, node: ast.If) -> ast.AST:
        self.generic_visit(node)
        node.test = self._offer(node.test, ast.UnaryOp(ast.Not(), node.test))  # type: ignore[assignment]
        return node

    def visit_IfExp(self, node: ast.IfExp) -> ast.AST:
        self.generic_visit(node)
        return self._offer(node, ast.IfExp(node.test, node.orelse, node.body))

    def visit_Return(self, node: ast.Return) -> ast.AST:
        self.generic_visit(node)
        if node.value is None or (isinstance(node.value, ast.Constant) and node.value.value is None):
            return node
        return self._offer(node, ast.Return(ast.Constant(None)))

    def visit_Expr(self, node: ast.Expr) -> ast.AST:
        if isinstance(node.value, ast.Constant):
            return node  # a docstring
        self.generic_visit(node)
        return self._offer(node, ast.Pass()) if isinstance(node.value, ast.Call) else node


def _told(node: ast.AST) -> str:
    return " ".join(ast.unparse(node).split())[:90]


def all_mutants(module: str, source: Path) -> tuple[Mutant, ...]:
    """Every wrong that a module offers."""
    wrongs = _Wrongs()
    wrongs.visit(ast.parse(source.read_text(encoding="utf-8")))
    seen: Counter[tuple[str, str, str]] = Counter()
    found = []
    for number, (inside, line, was, now) in enumerate(wrongs.found):
        seen[inside, was, now] += 1
        found.append(Mutant(module, inside, line, was, now, seen[inside, was, now], number))
    return tuple(found)


def sample(found: tuple[Mutant, ...], count: int, seed: int) -> tuple[Mutant, ...]:
    """So many of a module's mutants, drawn by the seed, in their order; the draw of one module moves no other's."""
    if not found:
        return ()
    dice = random.Random(hashlib.sha256(f"{seed} {found[0].module}".encode()).digest())
    return tuple(sorted(dice.sample(found, min(count, len(found))), key=lambda one: one.number))


def tree_of(mutant: Mutant, source: Path) -> ast.Module:
    """The module's tree with this one wrong in it."""
    tree: ast.Module = _Wrongs(mutant.number).visit(ast.parse(source.read_text(encoding="utf-8")))
    return ast.fix_missing_locations(tree)


def shares(sizes: dict[str, int], count: int, least: int) -> Iterator[tuple[str, int]]:
    """How many mutants of each module: by how many it offers, but no fewer than a handful."""
    whole = sum(sizes.values())
    for name, size in sizes.items():
        yield name, min(size, max(least, round(count * size / whole)))
