"""Which modules are joined to which: a root is a module that the start imports, or a function when it runs."""

import ast
from collections.abc import Iterable

from curbtick.install.squeeze.modules import Program, imported, path_of


def wholes(program: Program, start: str) -> dict[str, list[str]]:
    """Each root with the modules joined to it, itself the last, each after those it needs.

    A module belongs to the first root that needs it; what several roots that only functions import need is whole by
    itself.
    """
    eager = [path for path in program if path.endswith("/__init__") and program[path].body]
    eager += [path for path in _targets(program, start, program[start].body) if path not in eager]
    lazy = _lazy_roots(program, eager)
    found: dict[str, list[str]] = {}
    for root in eager:
        found[root] = _rest(_reach(program, root, eager), found)
    reach = [_reach(program, root, eager) for root in lazy]
    shared = [path for path in dict.fromkeys(sum(reach, [])) if sum(path in parts for parts in reach) > 1]
    shared = _rest(shared, found)
    if shared:
        found[shared[-1]] = shared
    for root, parts in zip(lazy, reach, strict=True):
        found[root] = _rest(parts, found)
    return found


def _targets(program: Program, path: str, body: list[ast.stmt]) -> list[str]:
    """The modules that statements of a module import, in order."""
    targets = []
    for _local, dotted, name in imported(path, ast.Module(body, [])):
        target = path_of(program, f"{dotted}.{name}") or path_of(program, dotted)
        if target and target not in targets:
            targets.append(target)
    return targets


def _lazy_roots(program: Program, eager: list[str]) -> list[str]:
    roots: list[str] = []
    for path, module in sorted(program.items()):
        for node in ast.walk(module):
            if isinstance(node, ast.FunctionDef):
                roots += [
                    target for target in _targets(program, path, node.body) if target not in roots + eager
                ]
    return roots


def _reach(program: Program, root: str, eager: list[str]) -> list[str]:
    """A root and all it needs when it starts, other roots left out, each after what it needs."""
    order: list[str] = []

    def visit(path: str) -> None:
        if path not in order and (path == root or path not in eager):
            body: list[ast.stmt] = [line for line in program[path].body if isinstance(line, ast.ImportFrom)]
            for target in _targets(program, path, body):
                visit(target)
            order.append(path)

    visit(root)
    return order


def _rest(paths: Iterable[str], placed: dict[str, list[str]]) -> list[str]:
    placed_paths = {path for parts in placed.values() for path in parts}
    return [path for path in paths if path not in placed_paths]
