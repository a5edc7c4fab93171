"""Doubles of `machine`, `rp2`, `uctypes` and MicroPython's clock, enough for board/rp2 to run on CPython.

They model what the board's contract rests on: an ADC that converts a ramp at the rate its divider asks for,
a DMA channel that moves it to memory and chains to another, pins, and a clock that only moves while
somebody waits. What the chip does to the register is shown by the emulator, not here.
"""

import ctypes
import gc
import os
import sys
import time
from array import array
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest

ADC, CS, FCS, FIFO, DIV = 0x4004C000, 0x0, 0x8, 0xC, 0x10
START_MANY, READY, OVER = 1 << 3, 1 << 8, 1 << 11
WRITE_TRIGGER = 0x2C
# SIO, RP2040 data sheet section 2.3.1.
GPIO_OUT, GPIO_OUT_XOR = 0xD0000010, 0xD000001C
READING_US = 2


class FakeChip:
    """Time, the registers of the ADC and of the pins' outputs, and the DMA channels."""

    def __init__(self) -> None:
        self.now_us = 1000
        self.registers: dict[int, int] = {}
        self.channels: list[FakeDma] = []
        self.next_sample = 0
        self.next_us = 0.0
        self.pins: dict[int, FakePin] = {}
        # (address, value) of each write to a register, in order.
        self.writes: list[tuple[int, int]] = []
        # The watchdog's timeout at each time it was fed.
        self.feeds: list[int] = []

    def pass_time(self, duration_us: float) -> None:
        end = self.now_us + duration_us
        while self.registers.get(ADC + CS, 0) & START_MANY and self.next_us <= end:
            self._convert()
        self.now_us = int(end)

    def _convert(self) -> None:
        divider = (self.registers[ADC + DIV] >> 8) + 1
        self.next_us += divider / 48
        for channel in self.channels:
            if channel.filling:
                channel.take(self.next_sample)
                break
        else:
            self.registers[ADC + FCS] |= OVER
        self.next_sample = (self.next_sample + 1) & 4095

    def __getitem__(self, address: int) -> int:
        self.pass_time(READING_US)
        if address == GPIO_OUT:
            return sum(pin.level << pin.number for pin in self._outputs())
        value = self.registers.get(address, 0)
        return value | READY if address == ADC + CS else value

    def _outputs(self) -> list["FakePin"]:
        return [pin for pin in self.pins.values() if pin.mode == FakePin.OUT]

    def __setitem__(self, address: int, value: int) -> None:
        self.writes.append((address, value))
        if address == GPIO_OUT_XOR:
            for pin in self._outputs():
                pin.level ^= value >> pin.number & 1
        if address == ADC + FCS:
            value = value & ~OVER if value & OVER else value | self.registers.get(address, 0) & OVER
        if address == ADC + CS and value & START_MANY:
            self.next_us = self.now_us + 4.0
        self.registers[address] = value


class FakeDma:
    """One channel: either fed by the ADC, or a control channel that hands the next write address on."""

    def __init__(self, chip: FakeChip) -> None:
        self._chip = chip
        self.channel = len(chip.channels)
        chip.channels.append(self)
        self.read = self.write = self.count = 0
        self.ctrl: dict[str, Any] = {}
        self.filling = False
        self._left = 0

    def pack_ctrl(self, **fields: Any) -> dict[str, Any]:
        return {"chain_to": self.channel, **fields}

    def config(self, read: Any, write: Any, count: int, ctrl: dict[str, Any], trigger: bool = False) -> None:
        self.read = read
        self.write = address_of(write) if isinstance(write, array) else write
        self.count, self.ctrl = count, ctrl
        if trigger:
            self.trigger()

    def trigger(self) -> None:
        """A control channel's one transfer."""
        target = self._chip.channels[(self.write - 0x50000000) // 0x40]
        assert (self.write - 0x50000000) % 0x40 == WRITE_TRIGGER
        target.write = ctypes.c_uint32.from_address(self.read).value | self.read & ~0xFFFFFFFF
        target._left, target.filling = target.count, True
        size = 1 << self.ctrl["ring_size"]
        self.read = self.read & -size | (self.read + 4) & (size - 1)

    def take(self, sample: int) -> None:
        memory_at(self.write).append_sample(sample, self.count - self._left)
        self._left -= 1
        if not self._left:
            self.filling = False
            self._chip.channels[self.ctrl["chain_to"]].trigger()

    def active(self, value: int | None = None) -> bool:
        if value is not None:
            self.filling = bool(value)
        return self.filling


class Memory:
    """A block's samples, found by the low 32 bits of its address, which is all that a table entry holds."""

    def __init__(self, block: array) -> None:  # type: ignore[type-arg]
        self._block = block

    def append_sample(self, sample: int, index: int) -> None:
        self._block[index] = sample


_BLOCKS: dict[int, Memory] = {}


def address_of(block: array) -> int:  # type: ignore[type-arg]
    address = block.buffer_info()[0]
    if block.typecode == "H":
        _BLOCKS[address & 0xFFFFFFFF] = Memory(block)
        return address & 0xFFFFFFFF
    return address


def memory_at(address: int) -> Memory:
    return _BLOCKS[address & 0xFFFFFFFF]


class FakePin:
    """A pin that remembers its level; an input rests where its pull puts it."""

    IN, OUT, PULL_UP = 0, 1, 2

    def __init__(self, number: int, mode: int = 0, pull: int = 0, value: int | None = None) -> None:
        self.number = number
        self.mode = mode
        self.level = 1 if pull == self.PULL_UP else value or 0

    def value(self, level: int | None = None) -> int:
        if level is not None:
            self.level = level
        return self.level

    def init(self, mode: int, value: int = 0) -> None:
        self.mode = mode
        self.level = value


class FakeAdc:
    """Single conversions: a battery of 3.6 V on the supply pin, 27 degrees on the chip's sensor."""

    CORE_TEMP = 4

    def __init__(self, where: Any) -> None:
        volts = 0.706 if where == self.CORE_TEMP else 1.2
        self._reading = round(volts / 3.3 * 65535)

    def read_u16(self) -> int:
        return self._reading


class FakePwm:
    def __init__(self, pin: FakePin, freq: int, duty_u16: int) -> None:
        self._pin = pin
        pin.level = 1

    def deinit(self) -> None:
        """The pin keeps whatever level it had, as on the chip."""


class FakeSerialIn:
    """Standard input with nothing in it."""

    buffer = SimpleNamespace(readinto=lambda buffer: 0)


@pytest.fixture
def chip(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[FakeChip]:
    """A fake chip behind the imports of board/rp2; its modules are forgotten afterwards."""
    fake = FakeChip()

    def pins(number: int, *args: Any, **options: Any) -> FakePin:
        fake.pins[number] = FakePin(number, *args, **options)
        return fake.pins[number]

    for name in ("IN", "OUT", "PULL_UP"):
        setattr(pins, name, getattr(FakePin, name))
    machine = ModuleType("machine")
    machine.__dict__.update(
        mem32=fake,
        Pin=pins,
        ADC=FakeAdc,
        PWM=FakePwm,
        idle=lambda: fake.pass_time(500),
        reset=lambda: None,
        lightsleep=lambda ms: fake.pass_time(1000 * ms),
        WDT=lambda timeout: SimpleNamespace(feed=lambda: fake.feeds.append(timeout)),
    )
    machine.__dict__["unique_id"] = lambda: b"\xc0\xb0\0\0\0\0\0\1"
    rp2 = ModuleType("rp2")
    rp2.__dict__["DMA"] = lambda: FakeDma(fake)
    uctypes = ModuleType("uctypes")
    uctypes.__dict__["addressof"] = address_of
    select = ModuleType("select")
    select.__dict__.update(
        POLLIN=1,
        poll=lambda: SimpleNamespace(register=lambda stream, event: None, ipoll=lambda wait: iter(())),
    )
    for module in (machine, rp2, uctypes, select):
        monkeypatch.setitem(sys.modules, module.__name__, module)
    _patch_clock(monkeypatch, fake)
    monkeypatch.setattr(sys.implementation, "_machine", "a board with RP2040", raising=False)
    monkeypatch.setattr("micropython.kbd_intr", lambda code: None, raising=False)
    monkeypatch.setattr(sys, "stdin", FakeSerialIn())
    before = set(sys.modules)
    yield fake
    for name in set(sys.modules) - before:
        if name.startswith("curbtick_probe.board"):
            _forget(name)
    _BLOCKS.clear()
    gc.collect()


def _forget(name: str) -> None:
    """Let a module be imported anew, by `from package import module` as well."""
    del sys.modules[name]
    package, _, module = name.rpartition(".")
    if package in sys.modules:
        vars(sys.modules[package]).pop(module, None)


def _patch_clock(monkeypatch: pytest.MonkeyPatch, fake: FakeChip) -> None:
    def ticks_us() -> int:
        fake.pass_time(1)
        return fake.now_us

    monkeypatch.setattr(time, "ticks_us", ticks_us, raising=False)
    monkeypatch.setattr(time, "ticks_ms", lambda: ticks_us() // 1000, raising=False)
    monkeypatch.setattr(time, "ticks_diff", lambda later, earlier: later - earlier, raising=False)
    monkeypatch.setattr(time, "ticks_add", lambda ticks, delta: ticks + delta, raising=False)
    monkeypatch.setattr(time, "sleep_ms", lambda ms: fake.pass_time(1000 * ms), raising=False)


def data_directory(monkeypatch: pytest.MonkeyPatch, rp2_board: ModuleType, path: Path) -> None:
    """Put the board's data directory somewhere harmless."""
    monkeypatch.setattr(rp2_board, "ROOT", str(path / "probe"))
    assert not os.path.exists(rp2_board.ROOT)
