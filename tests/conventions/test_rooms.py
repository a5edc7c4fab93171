"""A line of code knows its room: what each part may import, and which way the data flows."""

import ast
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

from tests.conventions.sources import (
    FIRMWARE,
    HOST,
    PROBE,
    WIRE,
    functions,
    imports,
    module_name,
    python_files,
    shown,
    tree,
)

BOARD_ONLY = {"machine", "rp2", "select", "socket", "termios", "time", "uctypes", "vfs", "_thread"}
WIRE_MAY_IMPORT = {"binascii", "hashlib", "struct", "typing"}
INPUT_AND_OUTPUT = {"open", "print", "input", "exec", "eval"}

# Rooms of the probe, and the rooms each must not know. Samples become bursts, trains, a reading, a record, a
# frame; limits come the other way, and only to the verdict.
PROBE_MUST_NOT_IMPORT = {
    "listen": {"limits", "rounds", "verdict", "reading", "log", "link", "panel", "app", "board"},
    "train": {"dsp", "listen", "limits", "verdict", "reading", "log", "link", "panel", "app", "board"},
    "verdict": {"dsp", "listen", "limits", "log", "link", "panel", "app", "board"},
    "reading": {"log", "limits", "link", "panel", "app"},
    "log": {"dsp", "listen", "train", "verdict", "reading", "link", "panel", "app", "board"},
    "limits": {"dsp", "listen", "train", "verdict", "reading", "log", "link", "panel", "app", "board"},
    "rounds": {"dsp", "listen", "train", "verdict", "reading", "log", "link", "panel", "app", "board"},
    "clock": {"dsp", "listen", "train", "verdict", "reading", "link", "panel", "app", "board"},
    "keys": {"dsp", "listen", "train", "verdict", "reading", "log", "link", "panel", "app", "board"},
    "panel": {"dsp", "listen", "train", "verdict", "reading", "log", "limits", "link", "app"},
    "link": {"dsp", "listen", "train", "verdict", "reading", "panel", "app"},
}

# A room may still know these: the arithmetic of a train is a kernel of times and levels.
BUT_MAY_IMPORT = {"train": {"curbtick_probe.dsp", "curbtick_probe.dsp.chain", "curbtick_probe.dsp.columns"}}

# Rooms of the bench in the order the data passes them: a room may import those before it, none behind it.
HOST_ORDER = (
    {"errors"},
    {"link"},
    {"client"},
    {"store"},
    {"fleet", "limits"},
    {"report"},
    {"cli"},
)


def room(name: str, package: str) -> str:
    """The first part of a dotted name behind its package; "" for the package itself or a foreign name."""
    return name.split(".")[1] if name.startswith(package + ".") else ""


def top_level(names: set[str]) -> set[str]:
    return {name.split(".")[0] for name in names}


@pytest.mark.parametrize("path", [p for p in python_files(FIRMWARE) if "board" not in p.parts], ids=shown)
def test_only_the_board_touches_hardware(path: Path) -> None:
    assert not top_level(imports(path)) & BOARD_ONLY


@pytest.mark.parametrize("path", python_files(PROBE / "dsp"), ids=shown)
def test_dsp_is_integer_kernels_and_nothing_else(path: Path) -> None:
    assert top_level(imports(path)) <= {"micropython", "array", "curbtick_probe"}
    assert {room(name, "curbtick_probe") for name in imports(path)} <= {"", "dsp"}
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


@pytest.mark.parametrize("own", sorted(PROBE_MUST_NOT_IMPORT))
def test_probe_rooms_know_only_what_comes_before_them(own: str) -> None:
    files = [p for p in python_files(PROBE) if room(module_name(p), "curbtick_probe") == own]
    assert files, f"no room {own} in the probe"
    for path in files:
        names = imports(path) - BUT_MAY_IMPORT.get(own, set())
        known = {room(name, "curbtick_probe") for name in names}
        assert not known & PROBE_MUST_NOT_IMPORT[own], shown(path)


def test_only_the_start_knows_the_app() -> None:
    for path in python_files(PROBE):
        own = room(module_name(path), "curbtick_probe")
        if own not in ("app", "board"):
            assert "app" not in {room(name, "curbtick_probe") for name in imports(path)}, shown(path)


@pytest.mark.parametrize("place", range(len(HOST_ORDER)))
def test_bench_rooms_know_only_what_comes_before_them(place: int) -> None:
    behind = set().union(*HOST_ORDER[place + 1 :])
    files = [p for p in python_files(HOST) if room(module_name(p), "curbtick") in HOST_ORDER[place]]
    assert files, f"no {HOST_ORDER[place]} in the bench"
    for path in files:
        known = {room(name, "curbtick") for name in imports(path)}
        assert not known & behind, shown(path)
        assert "virtual" not in known or HOST_ORDER[place] == {"cli"}, f"{shown(path)} knows the virtual yard"


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
    ("own", "word"), [("listen", "limit"), ("train", "sample"), ("verdict", "sample"), ("verdict", "block")]
)
def test_a_room_does_not_speak_of_what_it_must_not_know(own: str, word: str) -> None:
    path = PROBE / f"{own}.py"
    assert not [name for name in identifiers(path) if word in name.lower()]


def test_firmware_never_prints() -> None:
    for path in python_files(FIRMWARE, WIRE):
        for node in ast.walk(tree(path)):
            called = isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id
            assert called != "print", f"{shown(path)}:{getattr(node, 'lineno', 0)}"


def test_the_walk_sees_functions() -> None:
    assert sum(1 for path in python_files(HOST, PROBE, WIRE) for _ in functions(path)) > 100
