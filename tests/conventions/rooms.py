"""The rooms of the product and which rooms each may import: `python -m tests.conventions.rooms` prints the table.

DEVELOPERS.md prints the table of directions.py as the map; test_rooms.py holds the code and the map to it.
"""

import ast
from collections.abc import Iterable, Mapping
from pathlib import Path

from tests.conventions.directions import ROOMS
from tests.conventions.sources import base_of
from tests.paths import FIRMWARE, HOST, ROOT, WIRE

FOLDERS = {"curbtick_wire": WIRE, "curbtick_probe": FIRMWARE / "curbtick_probe", "curbtick": HOST}


def folder_of(room: str, root: Path = ROOT) -> Path:
    """The folder of a room, in this checkout or in a copy of it at `root`."""
    package, *rest = room.split(".")
    return (root / FOLDERS[package].relative_to(ROOT)).joinpath(*rest)


def files_of(room: str, root: Path = ROOT) -> list[Path]:
    """The Python files that stand in a room itself."""
    return sorted(folder_of(room, root).glob("*.py"))


def rooms_on_disk() -> set[str]:
    """Every folder of the product that holds Python files, by its dotted name."""
    return {
        ".".join([package, *path.parent.relative_to(folder).parts])
        for package, folder in FOLDERS.items()
        for path in folder.rglob("*.py")
    }


def reached(room: str, path: Path, source: str) -> set[str]:
    """The other rooms of the product that a file of a room imports, wherever in the file it does."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(source, str(path))):
        for dotted in _dotted(room, path, node):
            home = _home(dotted)
            if home is not None and home != room:
                found.add(home)
    return found


def _dotted(room: str, path: Path, node: ast.AST) -> Iterable[str]:
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    if isinstance(node, ast.ImportFrom):
        module = room if path.name == "__init__.py" else f"{room}.{path.stem}"
        base = base_of(node, module, path.name == "__init__.py")
        return [f"{base}.{alias.name}" for alias in node.names]
    if isinstance(node, ast.Call) and ast.unparse(node.func).endswith("import_module"):
        return [_constant_part(node.args[0])]
    return []


def _constant_part(name: ast.expr) -> str:
    """The name of a module that is imported by a string, as far as it is known beforehand."""
    first = name.values[0] if isinstance(name, ast.JoinedStr) else name
    assert isinstance(first, ast.Constant), (
        f"line {name.lineno}: nobody can know beforehand what this imports"
    )
    return str(first.value).rstrip(".")


_NAMES = {room.name for room in ROOMS}


def _home(dotted: str) -> str | None:
    """The room in which a dotted name stands; None outside the product."""
    parts = dotted.split(".")
    if parts[0] not in FOLDERS:
        return None
    # A package's folder without files of its own counts for the file that stands beside it.
    longest = next(n for n in range(len(parts), 0, -1) if ".".join(parts[:n]) in _NAMES)
    return ".".join(parts[:longest])


def violations(root: Path = ROOT, only: Iterable[Path] = ()) -> list[tuple[str, str, Path]]:
    """Each import that the table forbids, as (room, imported room, file), in the tree at `root` or some files of it."""
    chosen = set(only)
    found = []
    for room in ROOMS:
        for path in files_of(room.name, root):
            if chosen and path not in chosen:
                continue
            for other in sorted(reached(room.name, path, path.read_text(encoding="utf-8"))):
                if other not in room.imports:
                    found.append((room.name, other, path))
    return found


def used() -> Mapping[str, set[str]]:
    """What each room really imports."""
    return {
        room.name: {
            other
            for path in files_of(room.name)
            for other in reached(room.name, path, path.read_text(encoding="utf-8"))
        }
        for room in ROOMS
    }


def table() -> str:
    """The table as DEVELOPERS.md shows it."""
    rows = ["| room | what lives there | may import |", "|---|---|---|"]
    for room in ROOMS:
        package = room.name.split(".", maxsplit=1)[0]
        others = " ".join(f"`{_shortened(other, package)}`" for other in room.imports)
        rows.append(f"| `{room.name.replace('.', '/')}` | {room.what} | {others or 'nothing'} |")
    return "\n".join(rows) + "\n"


def _shortened(other: str, package: str) -> str:
    """A room's path, without the package where that is the row's own."""
    return other.replace(".", "/").removeprefix(f"{package}/")


if __name__ == "__main__":
    print(table(), end="")
