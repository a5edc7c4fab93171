"""Whole numbers in the places that use them, in all modules, instead of names looked up at run time.

So is the place of a word in a table of words, where the word is written out.
"""

import ast
import operator
from collections import Counter
from collections.abc import Callable

from curbtick.install.squeeze.modules import Program, module_names, stored, taken_names

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


# What a name stands for: a whole number, or the words of a table.
Value = int | tuple[str, ...]


class _Known:
    """What a module's names stand for: its own, those it took, and those of modules it knows."""

    def __init__(self, program: Program, path: str, found: dict[str, dict[str, Value]]) -> None:
        self._found = found
        self._modules = module_names(program, path)
        self._taken = taken_names(program, path)
        self._path = path
        self._bound = Counter(stored(program[path]))

    def named(self, node: ast.expr) -> Value:
        """What a name or `module.NAME` stands for. Raises NotConstantError."""
        match node:
            case ast.Name(id=word) if word in self._taken and not self._bound[word]:
                return self._look(*self._taken[word])
            case ast.Name(id=word) if self._bound[word] == 1:
                return self._look(self._path, word)
            case ast.Attribute(value=ast.Name(id=word), attr=attribute):
                if word in self._modules and not self._bound[word]:
                    return self._look(self._modules[word], attribute)
        raise NotConstantError

    def _look(self, path: str, word: str) -> Value:
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
            case ast.Name() | ast.Attribute() if isinstance(named := self.named(node), int):
                return named
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                return -self.value(operand)
            case ast.BinOp(left=left, op=op, right=right) if type(op) in _OPERATORS:
                return _OPERATORS[type(op)](self.value(left), self.value(right))
            case ast.Call(func=ast.Name(id="const"), args=[argument]):
                return self.value(argument)
            case ast.Call(
                func=ast.Attribute(value=table, attr="index"), args=[ast.Constant(value=str() as word)]
            ):
                return self._place(table, word)
        raise NotConstantError

    def _place(self, table: ast.expr, word: str) -> int:
        words = self.named(table)
        if isinstance(words, tuple) and word in words:
            return words.index(word)
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
    """Put every known whole number where its name stands, and a word's place in its table, in place."""
    values: dict[str, dict[str, Value]] = {path: {} for path in program}
    before = -1
    while before != (before := sum(map(len, values.values()))):
        for path, module in program.items():
            constants = _Known(program, path, values)
            for line in module.body:
                values[path].update(_defined(line, constants))
    for path, module in program.items():
        _Folder(_Known(program, path, values)).visit(module)


def _defined(line: ast.stmt, constants: _Known) -> dict[str, Value]:
    """The names a top-level assignment gives to small whole numbers, or to a table of words."""
    pairs: dict[str, Value]
    try:
        match line:
            case ast.Assign(targets=[ast.Name(id=word)], value=ast.Tuple(elts=elements)):
                pairs = {word: _words(elements)}
            case ast.Assign(targets=[ast.Name(id=word)], value=value):
                pairs = {word: constants.value(value)}
            case ast.Assign(targets=[ast.Tuple(elts=targets)], value=value):
                words = [target.id for target in targets if isinstance(target, ast.Name)]
                pairs = dict(zip(words, constants.values(value), strict=True))
            case _:
                return {}
    except (NotConstantError, ValueError):
        return {}
    return {
        word: value for word, value in pairs.items() if constants.is_bound_once(word) and _is_small(value)
    }


def _words(elements: list[ast.expr]) -> tuple[str, ...]:
    words = [element.value for element in elements if isinstance(element, ast.Constant)]
    if len(words) != len(elements) or not all(isinstance(word, str) for word in words):
        raise NotConstantError
    return tuple(map(str, words))


def _is_small(value: Value) -> bool:
    return isinstance(value, tuple) or abs(value) < _SMALL


class _Folder(ast.NodeTransformer):
    """Writes numbers in place of expressions that are one."""

    def __init__(self, known: _Known) -> None:
        self._known = known

    def visit(self, node: ast.AST) -> ast.AST:
        """Replace a name, an attribute or an operation of known value; go into everything else."""
        if isinstance(node, ast.Name | ast.Attribute) and not isinstance(node.ctx, ast.Load):
            return self.generic_visit(node)
        if isinstance(node, ast.Name | ast.Attribute | ast.BinOp | ast.UnaryOp | ast.Call):
            assert isinstance(node, ast.expr)
            try:
                number = self._known.value(node)
            except NotConstantError:
                return self.generic_visit(node)
            return number_node(number) if abs(number) < _SMALL else self.generic_visit(node)
        return self.generic_visit(node)


def number_node(number: int) -> ast.expr:
    """The expression of a whole number."""
    if number < 0:
        return ast.UnaryOp(ast.USub(), ast.Constant(-number))
    return ast.Constant(number)
