"""The comparisons can fail: cores with one fault each, planted in a copy of the source, are found out."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.target.fastcore.library import SOURCE, compile_library, open_library, sources
from tests.target.fastcore.situations import CCore
from tests.target.fastcore.test_opcodes import CODE, ROUNDS, against_package, against_unicorn

__all__ = []

# name: (file, right, wrong, encodings that show it)
PLANTED = {
    "carry of a long left shift": (
        "alu.h",
        "count <= 32 ? value >> (32 - count)",
        "count < 32 ? value >> (32 - count)",
        range(0x4080, 0x40C0),
    ),
    "overflow": (
        "alu.h",
        "(~(a ^ b) & (a ^ sum)) >> 31",
        "((a ^ b) & (a ^ sum)) >> 31",
        range(0x1800, 0x1A00),
    ),
    "condition LE": ("alu.h", "s->n == s->v && !s->z}", "s->n == s->v || !s->z}", range(0xDC00, 0xDE00)),
    "ASR by constant 0": (
        "data.h",
        "shift_right_signed(s, value, count ? count : 32)",
        "shift_right_signed(s, value, count)",
        range(0x1000, 0x1040),
    ),
    "REVSH unsigned": ("data.h", "signed_field(swapped, 16)", "field(swapped, 0, 16)", range(0xBAC0, 0xBB00)),
    "LDRSB unsigned": ("transfer.h", "kind == 3 || kind == 7", "kind == 7", range(0x5600, 0x5800)),
    "literal from an odd word": (
        "transfer.h",
        "((s->r[PC] + 4) & ~3u) + (field(op, 0, 8) << 2)",
        "s->r[PC] + 2 + (field(op, 0, 8) << 2)",
        range(0x4800, 0x4900),
    ),
    "cycles of a load": ("transfer.h", "MEMORY_CYCLES = 2", "MEMORY_CYCLES = 1", range(0x6800, 0x6900)),
    "LDM writes its base back": (
        "lists.h",
        "if (!(list >> base & 1)) s->r[base] =",
        "s->r[base] =",
        range(0xC800, 0xC900),
    ),
    "BL forgets the Thumb bit": (
        "branch.h",
        "s->r[LR] = (s->r[PC] + 4) | 1;",
        "s->r[LR] = s->r[PC] + 4;",
        range(0xF000, 0xF100),
    ),
}


def planted(folder: Path, file: str, right: str, wrong: str) -> CCore:
    """A core with one thing wrong."""
    for path in sources():
        shutil.copy(path, folder)
    text = (SOURCE / file).read_text()
    assert text.count(right) == 1, f"{right} stands {text.count(right)} times in {file}"
    (folder / file).write_text(text.replace(right, wrong))
    compile_library(folder, folder / "planted.so")
    return CCore(CODE, open_library(folder / "planted.so"))


@pytest.mark.parametrize("name", PLANTED)
def test_a_planted_fault_is_found(name: str, tmp_path: Path) -> None:
    file, right, wrong, places = PLANTED[name]
    core = planted(tmp_path, file, right, wrong)
    assert against_package(places, core).wrong
    if "cycles" not in name:
        assert against_unicorn(places, core, ROUNDS).wrong
