"""A name at the top of a file of the firmware or the protocol is read by something that is not a test."""

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from tests.conventions.sources import base_of, module_name, python_files, shown, tree
from tests.paths import FIRMWARE, HOST, NOTES, ROOT, WIRE

FILES = [path for path in python_files(FIRMWARE, WIRE) if path.name != "__init__.py"]

# Writes the protocol's description, for which some of the names are there.
SPEC_WRITER = ROOT / "tests/vectors/make_spec.py"


def constants(module: ast.Module) -> Iterator[str]:
    """The names that a file binds at its top, `__all__` left out."""
    for node in module.body:
        targets = node.targets if isinstance(node, ast.Assign) else ()
        if isinstance(node, ast.AnnAssign):
            targets = [node.target]
        for target in targets:
            names = (part.id for part in ast.walk(target) if isinstance(part, ast.Name))
            yield from (name for name in names if name != "__all__")


def read_here(module: ast.Module) -> set[str]:
    """The names that a file reads."""
    nodes = (node for node in ast.walk(module) if isinstance(node, ast.Name))
    return {node.id for node in nodes if isinstance(node.ctx, ast.Load)}


@cache
def read_from_others() -> frozenset[str]:
    """What the product's files take from modules, `module.NAME` or imported by name, as dotted names."""
    readers = [*python_files(FIRMWARE, WIRE, HOST, NOTES), SPEC_WRITER]
    return frozenset(name for path in readers for name in taken(path))


def taken(path: Path) -> Iterator[str]:
    """The dotted names that one file takes from modules."""
    modules = {}
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.ImportFrom):
            base = base_of(node, module_name(path), path.name == "__init__.py")
            for alias in node.names:
                modules[alias.asname or alias.name] = f"{base}.{alias.name}"
    yield from modules.values()
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in modules:
            yield f"{modules[node.value.id]}.{node.attr}"


def unread(module: ast.Module, name: str) -> set[str]:
    """The names that a file, imported as `name`, binds at its top and that nothing reads."""
    return {
        bound
        for bound in set(constants(module)) - read_here(module)
        if f"{name}.{bound}" not in read_from_others()
    }


@pytest.mark.parametrize("path", FILES, ids=shown)
def test_every_name_at_the_top_is_read(path: Path) -> None:
    assert not unread(tree(path), module_name(path))


@pytest.mark.parametrize(
    "line", ["PLANTED = 7", "_PLANTED = const(7)", "PLANTED: int = 7", "A, PLANTED = 7, 8"]
)
@pytest.mark.parametrize("path", FILES, ids=shown)
def test_a_name_that_nothing_reads_is_seen(path: Path, line: str) -> None:
    planted = ast.parse(path.read_text(encoding="utf-8") + f"\n{line}\n")
    assert {name.strip("_") for name in unread(planted, module_name(path))} >= {"PLANTED"}
