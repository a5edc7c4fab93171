"""The project's own source files, their imports and their functions: what the conventions are checked on."""

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from tests.paths import FIRMWARE, ROOT

Function = ast.FunctionDef | ast.AsyncFunctionDef


def python_files(*folders: Path) -> list[Path]:
    """Every Python file below the folders, in order."""
    return sorted(path for folder in folders for path in folder.rglob("*.py"))


def shown(path: Path) -> str:
    """The path as a message names it."""
    return path.relative_to(ROOT).as_posix()


@cache
def tree(path: Path) -> ast.Module:
    """The parsed file."""
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


def module_name(path: Path) -> str:
    """The dotted name under which the file is imported, package prefix included."""
    for root in (FIRMWARE, ROOT / "protocol", ROOT / "host", ROOT):
        if path.is_relative_to(root):
            parts = path.relative_to(root).with_suffix("").parts
            return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
    raise ValueError(path)


def imports(path: Path) -> set[str]:
    """Every dotted name that the file imports; of `from a import b` both a and a.b."""
    found: set[str] = set()
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = base_of(node, module_name(path), path.name == "__init__.py")
            found.add(base)
            found.update(f"{base}.{alias.name}" for alias in node.names)
    return found


def base_of(node: ast.ImportFrom, module: str, is_package: bool) -> str:
    """The dotted name of what a `from` statement in a module takes names from."""
    if not node.level:
        return node.module or ""
    package = module.split(".")
    if not is_package:
        package.pop()
    package = package[: len(package) - node.level + 1]
    return ".".join([*package, *([node.module] if node.module else [])])


@dataclass(frozen=True)
class Found:
    """A function and where it stands."""

    path: Path
    qualified: str
    node: Function
    public: bool

    def __str__(self) -> str:
        return f"{shown(self.path)}:{self.node.lineno} {self.qualified}"

    @property
    def code_lines(self) -> int:
        """Lines from `def` to the end, without the docstring's."""
        total = (self.node.end_lineno or self.node.lineno) - self.node.lineno + 1
        first = self.node.body[0]
        if ast.get_docstring(self.node) is None or len(self.node.body) == 1:
            return total
        return total - ((first.end_lineno or first.lineno) - first.lineno + 1)


def functions(path: Path) -> Iterator[Found]:
    """Every function and method of the file, those inside functions included."""
    yield from _functions(path, tree(path), "", True)


def _functions(path: Path, parent: ast.AST, prefix: str, public: bool) -> Iterator[Found]:
    for node in ast.iter_child_nodes(parent):
        if isinstance(node, ast.ClassDef):
            visible = public and not node.name.startswith("_")
            yield from _functions(path, node, f"{prefix}{node.name}.", visible)
        elif isinstance(node, Function):
            yield Found(path, prefix + node.name, node, public and not node.name.startswith("_"))
            yield from _functions(path, node, f"{prefix}{node.name}.", False)
        else:
            yield from _functions(path, node, prefix, public)


def viper_functions() -> list[Found]:
    """Every function in firmware/ that viper compiles."""
    return [f for path in python_files(FIRMWARE) for f in functions(path) if is_viper(f.node)]


def is_viper(node: Function) -> bool:
    """Whether the function carries the viper decorator."""
    return any(ast.unparse(d) in ("micropython.viper", "viper") for d in node.decorator_list)
