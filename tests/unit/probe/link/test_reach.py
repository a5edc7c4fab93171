"""What a message can reach on the probe: no file by a name that came over the wire, and no code."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest
from curbtick_wire import messages

from tests.paths import PROBE, WIRE

# What the link imports, and they in turn; files are opened only in the rooms of storage.
STORAGE = ("log.py", "scan.py", "shelf.py", "room.py", "slots.py")
RUNS_CODE = {"exec", "eval", "compile", "execfile", "__import__"}


def reached(*starts: Path) -> list[Path]:
    """Every module of ours that these import, themselves included."""
    found, waiting = [], [*starts]
    while waiting:
        path = waiting.pop()
        if path in found:
            continue
        found.append(path)
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.ImportFrom) and node.module:
                for name in [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]:
                    room = {"curbtick_probe": PROBE, "curbtick_wire": WIRE}.get(name.split(".")[0])
                    file = room and room.joinpath(*name.split(".")[1:]).with_suffix(".py")
                    if file and file.exists():
                        waiting.append(file)
    return found


SETTINGS = ("limits.py", "rounds.py", "calibration.py")

# The link, and the rooms that it is handed.
REACHED = reached(
    PROBE / "link" / "link.py",
    *(PROBE / "store" / f"{name}.py" for name in ("log", "clock", "keys")),
    *(PROBE / "store" / "settings" / f"{name}.py" for name in ("limits", "rounds", "calibration")),
)


def called(path: Path) -> Iterator[tuple[str, ast.Call]]:
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Call):
            yield (
                node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", ""),
                node,
            )


def test_the_walk_reaches_what_it_should() -> None:
    names = {path.name for path in REACHED}
    assert names >= {
        *STORAGE,
        "service.py",
        "access.py",
        "keys.py",
        "limits.py",
        "rounds.py",
        "calibration.py",
        "codec.py",
        "frames.py",
    }


@pytest.mark.parametrize("path", REACHED, ids=lambda path: path.name)
def test_no_message_runs_code_and_only_storage_opens_files(path: Path) -> None:
    names = {name for name, _call in called(path)}
    assert not names & RUNS_CODE
    assert "open" not in names or path.name in STORAGE


@pytest.mark.parametrize("path", REACHED, ids=lambda path: path.name)
def test_every_value_in_two_slots_has_a_name_of_our_own(path: Path) -> None:
    """setting.py passes on the name that its own kinds give to its `__init__`."""
    maker = "__init__" if path.name in SETTINGS else "Slots"
    found = [call.args[1] for name, call in called(path) if name == maker and path.name != "setting.py"]
    assert found or path.name not in (*SETTINGS, "keys.py", "clock.py", "state.py")
    assert all(isinstance(name, ast.Constant) for name in found)


def test_the_only_words_a_request_carries_are_a_bench_s_name_and_a_secret() -> None:
    free = {
        (name, field[0])
        for _number, name, fields, _tail, _rule in messages.REQUESTS
        for field in fields
        if field[1].endswith("s")
    }
    assert free == {
        ("greet", "definition"),
        ("greet", "bench_nonce"),
        ("read", "wanted"),
        ("acknowledge", "digest"),
        ("pair", "secret"),
        ("pair", "name"),
    }
    assert {tail for _number, _name, _fields, tail, _rule in messages.REQUESTS} == {
        None,
        "limit_set",
        "round",
        "calibration",
    }
