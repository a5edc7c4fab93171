"""The harness itself: the emulated core's cycles, and the arithmetic of each way of running."""

import struct
from array import array

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.target import core as core_module
from tests.target import shim
from tests.target.agree import Disagreement, agree
from tests.target.core import ROOT, Core, Kernel
from tests.target.mpy import TargetError, read_module
from tests.target.shim import Headroom, Mode
from tests.target.unix import port as unix

SAMPLES = ROOT / "tests/target/samples.py"
words = st.integers(-(1 << 31), (1 << 31) - 1)


def machine_code(core: Core, *opcodes: int) -> Kernel:
    return Kernel("code", 0, True, struct.pack(f"<{len(opcodes)}H", *opcodes), (0,), core)


NOP, BX_LR = 0x46C0, 0x4770


# Cycles from the Cortex-M0+ Technical Reference Manual, instruction set summary (from memory): data
# processing 1, multiply 1 with the fast multiplier that the RP2040 has, load and store 2, branch taken 2, not
# taken 1. The emulator counts the lr of a push one cycle short, once in a call.
@pytest.mark.parametrize(
    ("opcodes", "cycles"),
    [
        ([NOP] * 10, 10),
        ([0x4348] * 10, 10),  # muls r0, r1
        ([0x6818] * 10, 20),  # ldr r0, [r3]
        ([0x8818] * 10, 20),  # ldrh r0, [r3]
        ([0x6018] * 10, 20),  # str r0, [r3]
        ([0x2064, 0x3801, 0xD1FD], 1 + 100 * 1 + 99 * 2 + 1),  # movs r0, #100; again: subs r0, #1; bne again
        ([0xB430, 0xBC30], 3 + 3),  # push {r4, r5}; pop {r4, r5}
    ],
)
def test_cycles_are_the_manuals(core: Core, opcodes: list[int], cycles: int) -> None:
    empty = machine_code(core, BX_LR)().cycles
    assert machine_code(core, *opcodes, BX_LR)().cycles - empty == cycles


def test_energy_of_known_samples(core: Core) -> None:
    samples = array("H", [2048, 2049, 2046, 4095, 0])
    assert core.load(SAMPLES, "energy")(samples, 5).result == 0 + 1 + 4 + 2047**2 + 2048**2


@settings(max_examples=200, deadline=None)
@given(words, st.integers(0, 65535), st.integers(0, 255), words, words)
def test_shim_has_the_chips_and_the_unix_ports_arithmetic(
    core: Core, w: int, h: int, o: int, a: int, b: int
) -> None:
    def arguments() -> tuple[core_module.Buffer | int, ...]:
        return array("i", [w, 0]), array("H", [h, 0]), bytearray([o, 0]), array("i", [0] * 9), a, b

    for mode, reference in ((Mode.CHIP, lambda args: core.load(SAMPLES, "mixed")(*args)), (Mode.PC, on_unix)):
        mine, theirs = arguments(), arguments()
        shim.run(SAMPLES, "mixed", mode, mine)
        reference(theirs)
        assert mine == theirs, mode


def on_unix(args: tuple[core_module.Buffer | int, ...]) -> None:
    unix.run(SAMPLES, "mixed", args)


def test_overflow_is_noticed(core: Core) -> None:
    rails = array("H", [4095, 0] * 300)
    with pytest.raises(Headroom, match="leaves 32 bits"):
        agree(core, SAMPLES, "energy", rails, 600)


def test_dependence_on_the_word_size_is_noticed(core: Core) -> None:
    with pytest.raises(Disagreement, match="pc and the emulated chip"):
        agree(core, SAMPLES, "halve", array("i", [-3]))
    agree(core, SAMPLES, "halve", array("i", [3]))


def test_a_write_outside_a_buffer_is_noticed(core: Core) -> None:
    with pytest.raises(Headroom, match="element 4 of a buffer of 4"):
        shim.run(SAMPLES, "past_the_end", Mode.CHIP, (bytearray(4), 4))
    with pytest.raises(TargetError, match="wrote outside"):
        core.load(SAMPLES, "past_the_end")(bytearray(4), 4)


@pytest.mark.parametrize(
    ("function", "args", "words"),
    [
        ("asks_for_a_global", (0,), "asks MicroPython"),
        ("plain", (0,), "not a viper"),
        ("absent", (0,), "no function"),
    ],
)
def test_what_cannot_run_is_refused(core: Core, function: str, args: tuple[int, ...], words: str) -> None:
    with pytest.raises(TargetError, match=words):
        core.load(SAMPLES, function)(*args)


def test_an_endless_kernel_is_stopped(core: Core, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(core_module, "STEP_LIMIT", 1000)
    with pytest.raises(TargetError, match="did not return"):
        core.load(SAMPLES, "forever")(0)


def test_arguments_are_checked(core: Core) -> None:
    energy = core.load(SAMPLES, "energy")
    with pytest.raises(TargetError, match="takes 2 arguments"):
        energy(array("H", [1]))
    with pytest.raises(TargetError, match="not a 32-bit word"):
        energy(array("H", [1]), 1 << 33)
    with pytest.raises(TargetError, match="do not fit"):
        energy(bytearray(300_000), 1)


@pytest.mark.parametrize(
    "data",
    [
        b"M\x05\x13\x1f\x00\x00",
        b"M\x06\x0b\x1f\x00\x00",
        b"M\x06\x13\x1f\x09",
        b"M\x06\x13\x1f\x00\x00\x00\x00",
    ],
)
def test_a_foreign_or_damaged_module_is_refused(data: bytes) -> None:
    with pytest.raises(TargetError):
        read_module(data)
