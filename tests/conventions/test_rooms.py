"""A line of code knows its room: what each room may import, and which way the data flows."""

import ast
import shutil
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

from tests.conventions import rooms
from tests.conventions.directions import ROOMS
from tests.conventions.sources import functions, imports, module_name, python_files, shown, tree
from tests.paths import FIRMWARE, HOST, NOTES, PROBE, ROOT, WIRE

BOARD_ONLY = {"machine", "rp2", "select", "socket", "termios", "time", "uctypes", "vfs", "_thread"}
WIRE_MAY_IMPORT = {"array", "binascii", "collections", "hashlib", "struct", "typing"}
INPUT_AND_OUTPUT = {"open", "print", "input", "exec", "eval"}
FILES_MAX = 14
ALLOWED = {room.name: set(room.imports) for room in ROOMS}
FORBIDDEN = [(a, b) for a in ALLOWED for b in ALLOWED if a != b and b not in ALLOWED[a]]


def top_level(names: set[str]) -> set[str]:
    return {name.split(".")[0] for name in names}


def test_the_table_names_every_room() -> None:
    assert rooms.rooms_on_disk() == set(ALLOWED)


def test_no_room_imports_what_the_table_forbids() -> None:
    assert not [f"{shown(path)}: {room} imports {other}" for room, other, path in rooms.violations()]


def test_the_table_allows_nothing_that_nobody_needs() -> None:
    assert rooms.used() == ALLOWED


def test_the_rooms_form_no_circle() -> None:
    TopologicalSorter(ALLOWED).prepare()


def test_developers_md_prints_the_table() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert rooms.table() in page, (
        "run: python -m tests.conventions.rooms, and put its table into DEVELOPERS.md"
    )


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the product's sources, to plant imports in."""
    root = tmp_path_factory.mktemp("planted")
    for folder in rooms.FOLDERS.values():
        target = root / folder.relative_to(ROOT)
        shutil.copytree(folder, target, ignore=shutil.ignore_patterns("__pycache__"))
    return root


@pytest.mark.parametrize("own", sorted(ALLOWED))
def test_each_forbidden_import_is_found_where_it_is_planted(copy: Path, own: str) -> None:
    """The rule itself, proved: an import of every room that this one must not know, at the end of one of its files."""
    path = rooms.files_of(own, copy)[-1]
    before = path.read_text(encoding="utf-8")
    for other in sorted(b for a, b in FORBIDDEN if a == own):
        module = rooms.files_of(other, copy)[-1].stem
        path.write_text(f"{before}\n\ndef planted():\n    from {other} import {module}\n", encoding="utf-8")
        assert (own, other, path) in rooms.violations(copy, [path]), f"{own} may import {other} unseen"
    path.write_text(before, encoding="utf-8")


def test_an_import_by_a_string_is_found_too(copy: Path) -> None:
    path = rooms.folder_of("curbtick.store", copy) / "tables.py"
    before = path.read_text(encoding="utf-8")
    path.write_text(before + '\nimportlib.import_module("curbtick.commands.main")\n', encoding="utf-8")
    assert ("curbtick.store", "curbtick.commands", path) in rooms.violations(copy, [path])
    path.write_text(before, encoding="utf-8")


# Every folder with Python files, of the product, the tests and the notes.
FOLDERS = sorted({path.parent for path in python_files(HOST, PROBE, WIRE, ROOT / "tests", NOTES)})
# Verbs that several programs of a folder share: `make_spec` beside `make_records` says what each does.
VERBS = {"make", "check"}


@pytest.mark.parametrize("folder", FOLDERS, ids=shown)
def test_no_room_is_full(folder: Path) -> None:
    assert len(list(folder.glob("*.py"))) <= FILES_MAX


def prefixes(stems: list[str]) -> set[str]:
    """Words with which two files of a folder begin: those files would be a room of their own."""
    words = [stem.split("_")[0] for stem in stems if "_" in stem.strip("_")]
    return {word for word in words if words.count(word) > 1 or word in stems} - VERBS


@pytest.mark.parametrize("folder", FOLDERS, ids=shown)
def test_a_prefix_is_a_folder(folder: Path) -> None:
    stems = [path.stem for path in folder.glob("*.py")]
    of_tests = [stem.removeprefix("test_") for stem in stems if stem.startswith("test_")]
    assert not prefixes([stem for stem in stems if not stem.startswith("test_")])
    assert not prefixes(of_tests)


def test_a_prefix_is_seen() -> None:
    assert prefixes(["leaks_link", "leaks_probe"]) == prefixes(["leaks", "leaks_link"]) == {"leaks"}
    assert not prefixes(["leaks", "link", "_common", "make_spec", "make_frames"])


# The probe's tables are read as they stand in the firmware's files, which the bench cannot import; and a virtual probe
# runs the script that it is given.
MAY_RUN_FILES = {"host/curbtick/virtual/panel/bar.py", "firmware/curbtick_probe/virtual/run.py"}
UNSEEN = {"__import__", "exec", "eval", "compile", "run_path", "run_module"}
# What else leads to a module by a string, whatever it is called through. The firmware's app unloads modules by theirs.
LEADS = {"spec_from_file_location", "module_from_spec", "sys.modules", "resolve_name", "entry_points"}
MAY_UNLOAD = "firmware/curbtick_probe/app/modules.py"


def unseen_imports(path: Path, source: str) -> list[str]:
    """Ways of importing in a file that the table's walk cannot follow."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call):
            name = ast.unparse(node.func)
            last = name.rsplit(".", maxsplit=1)[-1]
            builds = isinstance(node.func, ast.Name) or name.startswith("runpy.")
            if last in UNSEEN and builds and shown_or_name(path) not in MAY_RUN_FILES:
                found.append(name)
            if last == "import_module" and (
                len(node.args) != 1 or ast.unparse(node.args[0]).lstrip("f'\"")[0] == "."
            ):
                found.append(ast.unparse(node))
        elif isinstance(node, ast.ImportFrom):
            found += [f"{a.name} as {a.asname}" for a in node.names if a.name == "import_module" and a.asname]
        elif isinstance(node, ast.Import):
            found += [a.name for a in node.names if a.name in rooms.FOLDERS]
    return found + by_other_ways(path, ast.parse(source))


def by_other_ways(path: Path, module: ast.Module) -> list[str]:
    """What leads to a module by a string, and uses of import_module that are not calls of it."""
    called = {id(node.func) for node in ast.walk(module) if isinstance(node, ast.Call)}
    found = []
    for node in ast.walk(module):
        name = ast.unparse(node) if isinstance(node, ast.Attribute | ast.Name) else ""
        last = name.rsplit(".", maxsplit=1)[-1]
        found += [name] if last == "import_module" and id(node) not in called else []
        found += [name] if {name, last} & LEADS and shown_or_name(path) != MAY_UNLOAD else []
        found += ["a string"] if isinstance(node, ast.Constant) and node.value == "import_module" else []
    return found


def shown_or_name(path: Path) -> str:
    return shown(path) if path.is_relative_to(ROOT) else path.name


@pytest.mark.parametrize("path", python_files(HOST, PROBE, WIRE), ids=shown)
def test_every_import_can_be_seen(path: Path) -> None:
    assert not unseen_imports(path, path.read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    "line",
    [
        '__import__("curbtick.commands.main")',
        'exec("import curbtick.commands.main")',
        'runpy.run_module("curbtick.commands.main")',
        "from importlib import import_module as load",
        'import_module(".commands.main", "curbtick")',
        "import curbtick",
        "import curbtick as whole",
        "load = importlib.import_module",
        'functools.partial(import_module, "curbtick.commands.main")',
        'getattr(importlib, "import_module")("curbtick.commands.main")',
        'sys.modules["curbtick.commands.main"]',
        'pkgutil.resolve_name("curbtick.commands.main:app")',
        "importlib.util.module_from_spec(spec)",
    ],
)
def test_an_import_that_cannot_be_seen_is_refused(line: str) -> None:
    assert unseen_imports(Path("planted.py"), line)


@pytest.mark.parametrize("path", python_files(HOST, PROBE, WIRE), ids=shown)
def test_the_product_imports_no_test_and_no_notes(path: Path) -> None:
    assert not top_level(imports(path)) & {"tests", "hardware_notes"}


def test_no_file_stands_beside_the_packages() -> None:
    beside = [p for folder in (HOST.parent, WIRE.parent, FIRMWARE) for p in folder.glob("*.py")]
    assert [shown(path) for path in beside] == ["firmware/main.py"]


def test_the_start_knows_the_board_a_reading_and_the_app_alone() -> None:
    known = {name for name in imports(FIRMWARE / "main.py") if name.startswith("curbtick_probe.")}
    assert {name.split(".")[1] for name in known} == {"board", "bumper", "app"}


@pytest.mark.parametrize("path", [p for p in python_files(FIRMWARE) if "board" not in p.parts], ids=shown)
def test_only_the_board_touches_hardware(path: Path) -> None:
    assert not top_level(imports(path)) & BOARD_ONLY


@pytest.mark.parametrize("path", python_files(PROBE / "dsp"), ids=shown)
def test_dsp_is_integer_kernels_and_nothing_else(path: Path) -> None:
    assert top_level(imports(path)) <= {"micropython", "array", "curbtick_probe"}
    assert all(name.startswith("curbtick_probe.dsp") for name in imports(path) if "curbtick" in name)
    for node in ast.walk(tree(path)):
        assert not (isinstance(node, ast.Constant) and isinstance(node.value, float)), (
            f"float, line {node.lineno}"
        )
        assert not isinstance(node, ast.Div), "a division that makes floats"


@pytest.mark.parametrize("path", python_files(WIRE), ids=shown)
def test_wire_does_no_input_or_output(path: Path) -> None:
    foreign = {n for n in top_level(imports(path)) if n != "curbtick_wire"}
    assert foreign <= WIRE_MAY_IMPORT
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id not in INPUT_AND_OUTPUT, f"line {node.lineno}"


def test_host_and_probe_meet_only_in_the_protocol() -> None:
    assert not [shown(p) for p in python_files(HOST, WIRE) if "curbtick_probe" in top_level(imports(p))]
    assert not [shown(p) for p in python_files(FIRMWARE, WIRE) if "curbtick" in top_level(imports(p))]


@pytest.mark.parametrize("folder", [PROBE, HOST, WIRE], ids=shown)
def test_imports_go_one_way(folder: Path) -> None:
    names = {module_name(path): path for path in python_files(folder)}
    graph = {name: {n for n in imports(path) if n in names and n != name} for name, path in names.items()}
    # A package's face gathers what its modules offer; what they take from each other is what counts.
    graph = {name: {n for n in known if names[n].name != "__init__.py"} for name, known in graph.items()}
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as circle:
        pytest.fail(f"modules import each other in a circle: {' <- '.join(circle.args[1])}")


def identifiers(path: Path) -> set[str]:
    """Every name that the file's code reads or writes, arguments and attributes included."""
    found: set[str] = set()
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Name):
            found.add(node.id)
        elif isinstance(node, ast.Attribute):
            found.add(node.attr)
        elif isinstance(node, ast.arg):
            found.add(node.arg)
    return found


@pytest.mark.parametrize(
    ("own", "word"),
    [("listen", "limit"), ("trains/train", "sample"), ("verdict", "sample"), ("verdict", "block")],
)
def test_a_room_does_not_speak_of_what_it_must_not_know(own: str, word: str) -> None:
    path = PROBE / "bumper" / f"{own}.py"
    assert not [name for name in identifiers(path) if word in name.lower()]


def test_firmware_never_prints() -> None:
    for path in python_files(FIRMWARE, WIRE):
        for node in ast.walk(tree(path)):
            called = isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id
            assert called != "print", f"{shown(path)}:{getattr(node, 'lineno', 0)}"


def test_the_walk_sees_functions() -> None:
    assert sum(1 for path in python_files(HOST, PROBE, WIRE) for _ in functions(path)) > 100
