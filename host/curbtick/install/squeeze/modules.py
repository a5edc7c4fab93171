"""What a module's names stand for: which of them are modules of the program, and which come from one."""

import ast
from collections.abc import Iterator

Program = dict[str, ast.Module]


def path_of(program: Program, dotted: str) -> str | None:
    """The path of a dotted module name within the program."""
    path = dotted.replace(".", "/")
    return next((candidate for candidate in (path, f"{path}/__init__") if candidate in program), None)


def origin(path: str, node: ast.ImportFrom) -> str:
    """The dotted name that a module at `path` imports from."""
    if not node.level:
        return node.module or ""
    parts = path.removesuffix("/__init__").split("/")
    package = parts[: len(parts) - node.level + path.endswith("/__init__")]
    return ".".join([*package, node.module] if node.module else package)


def imported(path: str, module: ast.Module) -> Iterator[tuple[str, str, str]]:
    """(local name, dotted module, name there) of each `from` import, wherever it stands."""
    for node in ast.walk(module):
        if isinstance(node, ast.ImportFrom):
            for alias in node.names:
                yield alias.asname or alias.name, origin(path, node), alias.name


def module_names(program: Program, path: str) -> dict[str, str]:
    """Local names that stand for modules of the program: name to path."""
    names = {}
    for local, dotted, name in imported(path, program[path]):
        target = path_of(program, f"{dotted}.{name}")
        if target:
            names[local] = target
    return names


def taken_names(program: Program, path: str) -> dict[str, tuple[str, str]]:
    """Local names taken from modules of the program: name to (path, name there)."""
    names = {}
    for local, dotted, name in imported(path, program[path]):
        source = path_of(program, dotted)
        if source and not path_of(program, f"{dotted}.{name}"):
            names[local] = (source, name)
    return names


def reached(program: Program, path: str) -> set[str]:
    """The program's modules that a module imports, and the packages they stand in."""
    paths: set[str] = set()
    for _local, dotted, name in imported(path, program[path]):
        for words in (dotted, f"{dotted}.{name}"):
            parts = words.split(".")
            for count in range(1, len(parts) + 1):
                target = path_of(program, ".".join(parts[:count]))
                if target:
                    paths.add(target)
    return paths


def stored(module: ast.Module) -> Iterator[str]:
    """Every name bound anywhere in a module except by imports, as often as it is."""
    for node in ast.walk(module):
        if isinstance(node, ast.Name) and not isinstance(node.ctx, ast.Load):
            yield node.id
        elif isinstance(node, ast.arg):
            yield node.arg
        elif isinstance(node, ast.FunctionDef | ast.ClassDef):
            yield node.name
