"""Few large modules instead of many small ones: each module costs a chip some 300 bytes besides what is in it.

The names of joined modules become new ones of the whole, and `module.name` becomes one name. The root's own public
names stay, for others reach them by `root.name`.
"""

import ast
import itertools
import string
from collections.abc import Iterator

from curbtick.install.squeeze import spare
from curbtick.install.squeeze.modules import Program, imported, module_names, path_of, taken_names
from curbtick.install.squeeze.scopes import Replacer, bound_at_top
from curbtick.install.squeeze.wholes import wholes

# The compiler knows these by their names.
_KEPT = ("micropython", "const")


class CannotJoinError(Exception):
    """The program does something that joining its modules would change."""


def join(program: Program, start: str = "main") -> Program:
    """The program as fewer modules. Raises CannotJoinError."""
    joiner = _Joiner(program, wholes(program, start))
    joined: Program = {start: program[start]}
    joined.update({root: joiner.joined(root) for root in joiner.parts})
    for path in program:
        folder = path.removesuffix("__init__")
        holds_parts = folder != path and any(other.startswith(folder) for other in joined)
        # MicroPython takes a folder for a package without an empty __init__.
        if path not in joined and holds_parts and program[path].body:
            joined[path] = program[path]
    return joined


class _Joiner:
    """Joins the parts of each root."""

    def __init__(self, program: Program, parts: dict[str, list[str]]) -> None:
        self.parts = parts
        self._program = program
        self._home = {path: root for root, paths in parts.items() for path in paths}
        self._used = set().union(*map(spare.variables, program.values())) | set(_KEPT)
        self._words = spare.for_variables(program)
        self._called: dict[tuple[str, str], str] = {}
        self._fresh = {root: self._fresh_words() for root in parts}
        for root, paths in parts.items():
            for path in paths:
                for name in sorted(bound_at_top(program[path])):
                    public = path == root and not name.startswith("_")
                    self._called[path, name] = name if public else next(self._fresh[root])

    def _fresh_words(self) -> Iterator[str]:
        words = itertools.chain(self._words, spare.new_words(string.ascii_uppercase))
        return (word for word in words if word not in self._used)

    def joined(self, root: str) -> ast.Module:
        """A root and its parts as one module."""
        whole = _Whole(root, self._fresh[root])
        body: list[ast.stmt] = []
        for path in self.parts[root]:
            module = self._program[path]
            names, pairs = self._renamed(path, whole)
            lines = [line for line in module.body if not isinstance(line, ast.Import | ast.ImportFrom)]
            Replacer(names, pairs).visit(ast.Module(lines, []))
            body += lines
        return ast.Module([*whole.imports(), *body, *self._offered(root)], [])

    def _renamed(self, path: str, whole: "_Whole") -> tuple[dict[str, str], dict[tuple[str, str], str]]:
        """What stands in the whole for a part's names, and for its `module.name` pairs."""
        module = self._program[path]
        names = {name: self._called[path, name] for name in bound_at_top(module)}
        pairs: dict[tuple[str, str], str] = {}
        for local, (source, there) in taken_names(self._program, path).items():
            names[local] = self._name_in(whole, source, there)
        for local, source in self._modules_at_top(path).items():
            if source in self.parts and source != whole.root:
                names[local] = whole.take_module(source)
                continue
            for attribute in sorted(_attributes_of(module, local)):
                pairs[local, attribute] = self._name_in(whole, source, attribute)
        names.update(whole.outside(self._program, path, module))
        return names, pairs

    def _modules_at_top(self, path: str) -> dict[str, str]:
        """Names of modules but those that a function imports for itself."""
        top = ast.Module([line for line in self._program[path].body if isinstance(line, ast.ImportFrom)], [])
        local = {name for name, _dotted, _there in imported(path, top)}
        return {name: source for name, source in module_names(self._program, path).items() if name in local}

    def _origin(self, path: str, name: str) -> tuple[str, str]:
        """Where a name that a module has is bound."""
        while (path, name) not in self._called:
            used_names = taken_names(self._program, path)
            if name not in used_names:
                raise CannotJoinError(f"{path} has no {name} of its own")
            path, name = used_names[name]
        return path, name

    def _name_in(self, whole: "_Whole", source: str, name: str) -> str:
        path, name = self._origin(source, name)
        called = self._called[path, name]
        home = self._home[path]
        return called if home == whole.root else whole.take(home, called)

    def _offered(self, root: str) -> list[ast.stmt]:
        """Names that others read as `root.name` though another part of the whole binds them."""
        lines: list[ast.stmt] = []
        for name in sorted(self._read_from(root)):
            if (root, name) not in self._called:
                path, there = self._origin(root, name)
                value = ast.Name(self._called[path, there], ast.Load())
                lines.append(ast.Assign([ast.Name(name, ast.Store())], value))
        return lines

    def _read_from(self, root: str) -> set[str]:
        names: set[str] = set()
        for path, module in self._program.items():
            if self._home.get(path) != root:
                for local, source in module_names(self._program, path).items():
                    if source == root:
                        names |= _attributes_of(module, local)
        return names


def _attributes_of(module: ast.Module, local: str) -> set[str]:
    return {
        node.attr
        for node in ast.walk(module)
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == local
    }


class _Whole:
    """What a module made of several imports."""

    def __init__(self, root: str, fresh: Iterator[str]) -> None:
        self.root = root
        self._fresh = fresh
        # (module, name there; "" for the module itself) to the name here, from outside and from other wholes.
        self._outside: dict[tuple[str, str], str] = {}
        self._wholes: dict[tuple[str, str], str] = {}

    def take(self, home: str, name: str) -> str:
        """The name here of another whole's name."""
        return self._wholes.setdefault((_dotted(home), name), next(self._fresh))

    def take_module(self, root: str) -> str:
        """The name here of another root."""
        package, _, name = _dotted(root).rpartition(".")
        return self._wholes.setdefault((package, name), next(self._fresh))

    def outside(self, program: Program, path: str, module: ast.Module) -> dict[str, str]:
        """What stands here for the names that a part imports from outside the program."""
        names = {}
        for line in module.body:
            if isinstance(line, ast.Import):
                for alias in line.names:
                    names[alias.asname or alias.name] = self._foreign(
                        alias.name, "", alias.asname or alias.name
                    )
            elif (
                isinstance(line, ast.ImportFrom)
                and not path_of(program, line.module or "")
                and not line.level
            ):
                for alias in line.names:
                    local = alias.asname or alias.name
                    names[local] = self._foreign(line.module or "", alias.name, local)
        return names

    def _foreign(self, module: str, name: str, local: str) -> str:
        free = local not in self._outside.values() or local in _KEPT
        return self._outside.setdefault((module, name), local if free else next(self._fresh))

    def imports(self) -> Iterator[ast.stmt]:
        """The statements that import what the parts need."""
        for (module, name), local in self._outside.items():
            alias = ast.alias(name or module, local if local != (name or module) else None)
            yield ast.ImportFrom(module, [alias], 0) if name else ast.Import([alias])
        for (module, name), local in self._wholes.items():
            yield ast.ImportFrom(module, [ast.alias(name, local)], 0)


def _dotted(path: str) -> str:
    return path.removesuffix("/__init__").replace("/", ".")
