"""Leaves out what no module mentions: imports, assignments, functions, methods, and whole modules.

A name counts as mentioned wherever it is read, as a variable or as anybody's attribute, or stands as a string.
"""

import ast
from typing import Any

from curbtick.install.squeeze.modules import Program, imported, module_names, path_of, reached

_PURE_CALLS = {"const", "range", "tuple", "len", "bytes", "sum"}


def remove(program: Program, keep: tuple[str, ...]) -> None:
    """Leave out, in place, what is never mentioned; modules whose path begins as in `keep` keep their public functions
    and classes.
    """
    before = ""
    while before != (before := _shape(program)):
        _drop_imports(program)
        words = _mentioned(program)
        for path, module in program.items():
            _Sweeper(words, path.startswith(keep)).visit(module)
        _drop_modules(program, keep)


def _shape(program: Program) -> str:
    return repr({path: sum(1 for _ in ast.walk(module)) for path, module in program.items()})


def _mentioned(program: Program) -> set[str]:
    words: set[str] = set()
    for module in program.values():
        for node in ast.walk(module):
            match node:
                case ast.Name(id=word, ctx=ast.Load()) | ast.Attribute(attr=word, ctx=ast.Load()):
                    words.add(word)
                case ast.alias(name=word) | ast.Constant(value=str() as word):
                    words.add(word)
    return words


def _read_names(module: ast.Module) -> set[str]:
    return {
        node.id for node in ast.walk(module) if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load)
    }


def _wanted_elsewhere(program: Program) -> set[tuple[str, str]]:
    """(path, name) of what a module takes from another, by import or as an attribute."""
    names = set()
    for path, module in program.items():
        for _local, dotted, name in imported(path, module):
            source = path_of(program, dotted)
            if source:
                names.add((source, name))
        modules = module_names(program, path)
        for node in ast.walk(module):
            match node:
                case ast.Attribute(value=ast.Name(id=word), attr=attribute) if word in modules:
                    names.add((modules[word], attribute))
    return names


def _drop_imports(program: Program) -> None:
    needed_names = _wanted_elsewhere(program)
    for path, module in program.items():
        used = _read_names(module) | {name for source, name in needed_names if source == path}
        _ImportSweeper(used).visit(module)


def _drop_modules(program: Program, keep: tuple[str, ...]) -> None:
    paths: set[str] = set()
    waiting = {path for path in program if path == "main" or path.startswith(keep)}
    waiting |= {
        f"{path.rsplit('/', depth)[0]}/__init__"
        for path in waiting
        for depth in range(1, path.count("/") + 1)
    }
    while waiting:
        path = waiting.pop()
        if path in program and path not in paths:
            paths.add(path)
            waiting |= reached(program, path)
    for path in set(program) - paths:
        del program[path]


class _ImportSweeper(ast.NodeTransformer):
    """Drops imported names that are not used."""

    def __init__(self, used: set[str]) -> None:
        self._used = used

    def visit_ImportFrom(self, node: ast.ImportFrom) -> Any:  # noqa: N802 - ast names it so
        """Drop what a `from` import brings for nobody."""
        node.names = [alias for alias in node.names if (alias.asname or alias.name) in self._used]
        return node if node.names else None

    def visit_Import(self, node: ast.Import) -> Any:  # noqa: N802 - ast names it so
        """Drop a module imported for nobody."""
        node.names = [
            alias for alias in node.names if (alias.asname or alias.name.split(".")[0]) in self._used
        ]
        return node if node.names else None


class _Sweeper(ast.NodeTransformer):
    """Drops top-level assignments, functions, classes and methods that are not mentioned."""

    def __init__(self, words: set[str], keep_public: bool) -> None:
        self._words = words
        self._keep_public = keep_public

    def _is_needed(self, name: str) -> bool:
        return self._is_read(name) or (self._keep_public and not name.startswith("_"))

    def _is_read(self, name: str) -> bool:
        return name in self._words or name.startswith("__")

    def visit_Module(self, node: ast.Module) -> ast.AST:  # noqa: N802 - ast names it so
        """Look at the module's own statements."""
        node.body = [line for line in node.body if self._stays(line)]
        for line in node.body:
            if isinstance(line, ast.ClassDef):
                line.body = [part for part in line.body if self._stays(part)] or [ast.Pass()]
        return node

    def _stays(self, line: ast.stmt) -> bool:
        match line:
            case ast.FunctionDef(name=name) | ast.ClassDef(name=name):
                return self._is_needed(name)
            case ast.Assign(targets=[ast.Name(id="__all__")]):
                return False
            case ast.Assign(targets=[ast.Name(id=name)], value=value):
                return self._is_read(name) or not _is_pure(value)
            case ast.Assign(targets=[ast.Tuple(elts=targets)], value=value):
                names = [target.id for target in targets if isinstance(target, ast.Name)]
                return any(map(self._is_read, names)) or not _is_pure(value)
            case ast.Pass():
                return False
        return True


def _is_pure(value: ast.expr) -> bool:
    """Whether evaluating an expression changes nothing else."""
    for node in ast.walk(value):
        if isinstance(node, ast.Call) and not (
            isinstance(node.func, ast.Name) and node.func.id in _PURE_CALLS
        ):
            return False
    return True
