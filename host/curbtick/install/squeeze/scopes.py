"""Renaming what a module's own names stand for, and nothing that a function binds for itself."""

import ast
from collections.abc import Iterator
from typing import Any

Function = ast.FunctionDef | ast.Lambda
_COMPREHENSIONS = (ast.ListComp, ast.SetComp, ast.DictComp, ast.GeneratorExp)


def bound_at_top(module: ast.Module) -> set[str]:
    """The names a module binds for itself, by anything but imports."""
    return set(_bound(module.body))


def _bound(body: list[ast.stmt]) -> Iterator[str]:
    waiting: list[ast.AST] = list(body)
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            yield node.name
        elif isinstance(node, ast.Name) and not isinstance(node.ctx, ast.Load):
            yield node.id
        elif isinstance(node, ast.ExceptHandler) and node.name:
            yield node.name
        if not isinstance(node, (ast.FunctionDef, ast.ClassDef, ast.Lambda, *_COMPREHENSIONS)):
            waiting.extend(ast.iter_child_nodes(node))


def _local(function: Function) -> set[str]:
    names = {argument.arg for argument in ast.walk(function.args) if isinstance(argument, ast.arg)}
    if isinstance(function, ast.FunctionDef):
        names |= set(_bound(function.body))
        for node in ast.walk(function):
            if isinstance(node, ast.Import | ast.ImportFrom):
                names |= {alias.asname or alias.name for alias in node.names}
    return names


class Replacer(ast.NodeTransformer):
    """Replaces the names and `module.name` pairs of a module's own scope, wherever they are read or bound.

    names: what stands for a name. pairs: what stands for an attribute of a module that a name stands for.
    """

    def __init__(self, names: dict[str, str], pairs: dict[tuple[str, str], str]) -> None:
        self._names = names
        self._pairs = pairs
        self._hidden: list[set[str]] = []

    def _is_own(self, word: str) -> bool:
        return not any(word in names for names in self._hidden)

    def visit_Name(self, node: ast.Name) -> ast.AST:  # noqa: N802 - ast names it so
        """Rename a variable."""
        if self._is_own(node.id):
            node.id = self._names.get(node.id, node.id)
        return node

    def visit_Attribute(self, node: ast.Attribute) -> ast.AST:  # noqa: N802 - ast names it so
        """Write one name for `module.name`."""
        if isinstance(node.value, ast.Name) and self._is_own(node.value.id):
            name = self._pairs.get((node.value.id, node.attr))
            if name:
                return ast.Name(name, node.ctx)
        return self.generic_visit(node)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:  # noqa: N802 - ast names it so
        """Rename in a function what it does not bind itself, and the function if it is the module's own."""
        if not self._hidden:
            node.name = self._names.get(node.name, node.name)
        return self._inside(node, _local(node))

    def visit_Lambda(self, node: ast.Lambda) -> ast.AST:  # noqa: N802 - ast names it so
        """Rename what a lambda does not bind itself."""
        return self._inside(node, _local(node))

    def visit_ClassDef(self, node: ast.ClassDef) -> ast.AST:  # noqa: N802 - ast names it so
        """Rename a class and what its methods use; a class's own names are hidden from its methods."""
        if not self._hidden:
            node.name = self._names.get(node.name, node.name)
        node.bases = [self.visit(base) for base in node.bases]
        node.body = [self._part(part) for part in node.body]
        return node

    def _part(self, part: ast.stmt) -> Any:
        if isinstance(part, ast.FunctionDef):
            part.decorator_list = [self.visit(word) for word in part.decorator_list]
            return self._inside(part, _local(part))
        return self.visit(part)

    def generic_visit(self, node: ast.AST) -> ast.AST:
        """Hide what a comprehension binds."""
        if isinstance(node, _COMPREHENSIONS):
            bound = {
                word.id
                for part in node.generators
                for word in ast.walk(part.target)
                if isinstance(word, ast.Name)
            }
            return self._inside(node, bound)
        return super().generic_visit(node)

    def _inside(self, node: ast.AST, hidden: set[str]) -> ast.AST:
        self._hidden.append(hidden)
        super().generic_visit(node)
        self._hidden.pop()
        return node
