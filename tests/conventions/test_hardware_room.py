"""The hardware's room stands alone: its tables know nothing of the bench, the yard, the firmware or the notes."""

import sys
from pathlib import Path

import pytest

from tests.conventions.sources import HOST, imports, python_files, shown

ROOM = HOST / "hardware"
FOREIGN = {"numpy"}


def strangers(names: set[str]) -> set[str]:
    """The imports that the room must not have."""
    return {
        name
        for name in names
        if not name.startswith("curbtick.hardware")
        and name != "curbtick"
        and name.split(".")[0] not in FOREIGN | set(sys.stdlib_module_names)
    }


@pytest.mark.parametrize("path", python_files(ROOM), ids=shown)
def test_hardware_imports_nothing_of_the_bench(path: Path) -> None:
    assert strangers(imports(path)) == set()


def test_the_rule_can_fail() -> None:
    assert strangers({"curbtick.store", "hardware_notes.collar"}) == {
        "curbtick.store",
        "hardware_notes.collar",
    }
