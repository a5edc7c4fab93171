"""Whole numbers in the places that use them, in all modules, instead of names looked up at run time."""

import ast
import operator
from collections import Counter
from collections.abc import Callable

from curbtick.squeeze.modules import Program, module_names, stored, taken_names

# The chip's small integers; a larger one is an object, which is better named once than written often.
_SMALL = 1 << 30

_OPERATORS: dict[type[ast.operator], Callable[[int, int], int]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.FloorDiv: operator.floordiv,
    ast.Mod: operator.mod,
    ast.LShift: operator.lshift,
    ast.RShift: operator.rshift,
    ast.BitAnd: operator.and_,
    ast.BitOr: operator.or_,
    ast.BitXor: operator.xor,
    ast.Pow: operator.pow,
}


class NotConstantError(Exception):
    """An expression is not a whole number known before the program runs."""


class _Known:
    """The whole numbers that a module's names stand for: its own, those it took, and those of modules it knows."""

    def __init__(self, program: Program, path: str, found: dict[str, dict[str, int]]) -> None:
        self._found = found
        self._modules = module_names(program, path)
        self._taken = taken_names(program, path)
        self._path = path
        self._bound = Counter(stored(program[path]))

    def name(self, word: str) -> int:
        """The number of a name. Raises NotConstantError."""
        if word in self._taken and not self._bound[word]:
            path, there = self._taken[word]
            return self._look(path, there)
        if self._bound[word] == 1:
            return self._look(self._path, word)
        raise NotConstantError

    def attribute(self, word: str, attribute: str) -> int:
        """The number of `module.NAME`. Raises NotConstantError."""
        if word in self._modules and not self._bound[word]:
            return self._look(self._modules[word], attribute)
        raise NotConstantError

    def _look(self, path: str, word: str) -> int:
        if word not in self._found[path]:
            raise NotConstantError
        return self._found[path][word]

    def is_bound_once(self, word: str) -> bool:
        """Whether a module binds a name in one place only."""
        return self._bound[word] == 1

    def value(self, node: ast.expr) -> int:
        """The number an expression is. Raises NotConstantError."""
        match node:
            case ast.Constant(value=int() as number) if not isinstance(number, bool):
                return number
            case ast.Name(id=word):
                return self.name(word)
            case ast.Attribute(value=ast.Name(id=word), attr=attribute):
                return self.attribute(word, attribute)
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                return -self.value(operand)
            case ast.BinOp(left=left, op=op, right=right) if type(op) in _OPERATORS:
                return _OPERATORS[type(op)](self.value(left), self.value(right))
            case ast.Call(func=ast.Name(id="const"), args=[argument]):
                return self.value(argument)
        raise NotConstantError

    def values(self, node: ast.expr) -> list[int]:
        """The numbers of a `range` or of a tuple. Raises NotConstantError."""
        match node:
            case ast.Call(func=ast.Name(id="range"), args=arguments):
                return list(range(*map(self.value, arguments)))
            case ast.Tuple(elts=elements):
                return list(map(self.value, elements))
        raise NotConstantError


def fold(program: Program) -> None:
    """Put every known whole number where its name stands, in place."""
    found: dict[str, dict[str, int]] = {path: {} for path in program}
    before = -1
    while before != (before := sum(map(len, found.values()))):
        for path, module in program.items():
            known = _Known(program, path, found)
            for line in module.body:
                found[path].update(_defined(line, known))
    for path, module in program.items():
        _Folder(_Known(program, path, found)).visit(module)


def _defined(line: ast.stmt, known: _Known) -> dict[str, int]:
    """The names a top-level assignment gives to small whole numbers."""
    try:
        match line:
            case ast.Assign(targets=[ast.Name(id=word)], value=value):
                pairs = {word: known.value(value)}
            case ast.Assign(targets=[ast.Tuple(elts=targets)], value=value):
                words = [target.id for target in targets if isinstance(target, ast.Name)]
                pairs = dict(zip(words, known.values(value), strict=True))
            case _:
                return {}
    except (NotConstantError, ValueError):
        return {}
    return {
        word: number for word, number in pairs.items() if known.is_bound_once(word) and abs(number) < _SMALL
    }


class _Folder(ast.NodeTransformer):
    """Writes numbers in place of expressions that are one."""

    def __init__(self, known: _Known) -> None:
        self._known = known

    def visit(self, node: ast.AST) -> ast.AST:
        """Replace a name, an attribute or an operation of known value; go into everything else."""
        if isinstance(node, ast.Name | ast.Attribute) and not isinstance(node.ctx, ast.Load):
            return self.generic_visit(node)
        if isinstance(node, ast.Name | ast.Attribute | ast.BinOp | ast.UnaryOp) or _is_const(node):
            assert isinstance(node, ast.expr)
            try:
                number = self._known.value(node)
            except NotConstantError:
                return self.generic_visit(node)
            return number_node(number) if abs(number) < _SMALL else self.generic_visit(node)
        return self.generic_visit(node)


def _is_const(node: ast.AST) -> bool:
    return isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "const"


def number_node(number: int) -> ast.expr:
    """The expression of a whole number."""
    if number < 0:
        return ast.UnaryOp(ast.USub(), ast.Constant(-number))
    return ast.Constant(number)
