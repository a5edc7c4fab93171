"""Small changes to a Python source, one at a time: what a mutation run tries its tests on.

A mutant is named by where it is and what it changes: "module.Class.function:change:which", `which` counting the
changes of that kind in that function. So a name stays while its function stays.
"""

import ast
from collections.abc import Callable, Iterator
from dataclasses import dataclass

_COMPARISONS: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
_OPERATORS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.FloorDiv,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.BitXor: ast.BitAnd,
    ast.LShift: ast.RShift,
    ast.RShift: ast.LShift,
}

Change = tuple[str, Callable[[], ast.AST]]


@dataclass(frozen=True)
class Mutant:
    """One change. name: as above; line: where; text: the source line; code: the whole changed module."""

    name: str
    line: int
    text: str
    code: ast.Module


def _comparison(node: ast.Compare) -> Iterator[Change]:
    for place, operator in enumerate(node.ops):
        for other in _COMPARISONS[type(operator)]:
            operators = [*node.ops[:place], other(), *node.ops[place + 1 :]]
            words = f"{type(operator).__name__} to {other.__name__}"
            yield words, lambda ops=operators: ast.Compare(node.left, ops, node.comparators)  # type: ignore[misc]


def _operator(node: ast.BinOp) -> Iterator[Change]:
    other = _OPERATORS.get(type(node.op))
    sides = (node.left, node.right)
    text = any(isinstance(side, ast.Constant) and isinstance(side.value, str | bytes) for side in sides)
    if other and not text:
        yield (
            f"{type(node.op).__name__} to {other.__name__}",
            lambda: ast.BinOp(node.left, other(), node.right),
        )


def _either(node: ast.BoolOp) -> Iterator[Change]:
    other = ast.Or if isinstance(node.op, ast.And) else ast.And
    yield f"to {other.__name__}", lambda: ast.BoolOp(other(), node.values)


def _negation(node: ast.UnaryOp) -> Iterator[Change]:
    if isinstance(node.op, ast.Not):
        yield "drop not", lambda: node.operand


def _number(node: ast.Constant) -> Iterator[Change]:
    if isinstance(node.value, bool):
        yield "flip", lambda: ast.Constant(not node.value)
    elif isinstance(node.value, int):
        yield "one more", lambda: ast.Constant(node.value + 1)  # type: ignore[operator]


def _condition(node: ast.If | ast.IfExp) -> Iterator[Change]:
    for outcome in (True, False):
        test = ast.Constant(outcome)
        yield f"always {outcome}", lambda test=test: type(node)(test, node.body, node.orelse)  # type: ignore[misc, arg-type]


def _loop(node: ast.While) -> Iterator[Change]:
    yield "never loop", lambda: ast.While(ast.Constant(False), node.body, node.orelse)


def _return(node: ast.Return) -> Iterator[Change]:
    if node.value is not None and not (isinstance(node.value, ast.Constant) and node.value.value is None):
        yield "return nothing", lambda: ast.Return(None)


def _statement(node: ast.stmt) -> Iterator[Change]:
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Call):
        yield "drop the call", ast.Pass
    elif isinstance(node, ast.Raise):
        yield "drop the raise", ast.Pass
    elif isinstance(node, ast.AugAssign):
        yield "drop the step", ast.Pass
    elif isinstance(node, ast.Assign) and not isinstance(node.targets[0], ast.Name):
        yield "drop the assignment", ast.Pass


_CHANGES: dict[type[ast.AST], Callable[..., Iterator[Change]]] = {
    ast.Compare: _comparison,
    ast.BinOp: _operator,
    ast.BoolOp: _either,
    ast.UnaryOp: _negation,
    ast.Constant: _number,
    ast.If: _condition,
    ast.IfExp: _condition,
    ast.While: _loop,
    ast.Return: _return,
    ast.Expr: _statement,
    ast.Raise: _statement,
    ast.AugAssign: _statement,
    ast.Assign: _statement,
}


class _Walk(ast.NodeTransformer):
    """Counts the changes a tree offers, and makes the one wanted. `made`: (name, line) of the change made."""

    def __init__(self, module: str, wanted: int) -> None:
        self._path = [module]
        self._wanted = wanted
        self._seen = 0
        self._per_name: dict[str, int] = {}
        self.made: tuple[str, int] | None = None

    def visit(self, node: ast.AST) -> ast.AST:
        """Offer this node's changes, then its children's."""
        changed = self._offer(node)
        if changed is not None:
            return changed
        named = isinstance(node, ast.FunctionDef | ast.ClassDef)
        if named:
            self._path.append(node.name)  # type: ignore[attr-defined]
        self.generic_visit(node)
        if named:
            self._path.pop()
        return node

    def _offer(self, node: ast.AST) -> ast.AST | None:
        for words, make in _CHANGES.get(type(node), lambda _node: iter(()))(node):
            stem = ".".join(self._path) + ":" + words
            self._per_name[stem] = self._per_name.get(stem, 0) + 1
            self._seen += 1
            if self._seen == self._wanted:
                self.made = (f"{stem}:{self._per_name[stem]}", getattr(node, "lineno", 0))
                return ast.copy_location(make(), node)
        return None


def mutants(module: str, source: str) -> Iterator[Mutant]:
    """Every mutant of a module's source."""
    lines = source.splitlines()
    number = 1
    while True:
        walk = _Walk(module, number)
        code = walk.visit(ast.parse(source))
        if walk.made is None:
            return
        name, line = walk.made
        assert isinstance(code, ast.Module)
        yield Mutant(name, line, lines[line - 1].strip(), ast.fix_missing_locations(code))
        number += 1
