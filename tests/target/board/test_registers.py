"""The register and request numbers of both chips, against the vendor's own headers of pico-sdk 2.2.0.

hardware/regs/ of rp2040 and rp2350: addressmap.h, sio.h, dreq.h, adc.h, dma.h, watchdog.h, which the data sheets'
sections that the modules name repeat. What the boards then do on an RP2350 is not shown by this.
"""

import importlib
import sys

import pytest

from tests.target.board.doubles.chip import FakeChip, chip

__all__ = ["chip"]

# (module, name): the number on an RP2040, on an RP2350.
NUMBERS = {
    ("adc_dma", "_CS"): (0x4004C000, 0x400A0000),
    ("adc_dma", "_FCS"): (0x4004C008, 0x400A0008),
    ("adc_dma", "_FIFO"): (0x4004C00C, 0x400A000C),
    ("adc_dma", "_DIV"): (0x4004C010, 0x400A0010),
    ("adc_dma", "_DREQ_ADC"): (36, 48),
    ("adc_dma", "_DMA"): (0x50000000, 0x50000000),
    ("adc_dma", "_DMA_STRIDE"): (0x40, 0x40),
    ("adc_dma", "_DMA_WRITE_ADDRESS_TRIGGER"): (0x2C, 0x2C),
    ("adc_dma", "_DMA_UNPACED"): (0x3F, 0x3F),
    ("bar", "_OUT"): (0xD0000010, 0xD0000010),
    ("bar", "_OUT_XOR"): (0xD000001C, 0xD0000028),
    ("watchdog", "_REASON"): (0x40058008, 0x400D8008),
    ("watchdog", "_SCRATCH"): (0x4005800C, 0x400D800C),
    ("watchdog", "_TIMER"): (1, 1),
}
CHIPS = ("RP2040", "RP2350")


@pytest.mark.parametrize("name", CHIPS)
def test_registers_are_those_of_the_chip(name: str, chip: FakeChip, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys.implementation, "_machine", f"a board with {name}", raising=False)
    for (module, number), expected in NUMBERS.items():
        loaded = importlib.import_module(f"curbtick_probe.board.rp2.{module}")
        assert getattr(loaded, number) == expected[CHIPS.index(name)], (module, number)


def test_the_table_holds_every_register_that_the_modules_name(chip: FakeChip) -> None:
    """A base or an address that a module adds wants a row here."""
    for module in ("adc_dma", "bar", "watchdog"):
        loaded = importlib.import_module(f"curbtick_probe.board.rp2.{module}")
        told = {value for (of, _), values in NUMBERS.items() if of == module for value in values}
        addresses = {
            value for value in vars(loaded).values() if isinstance(value, int) and value >= 0x40000000
        }
        bases = {0x40058000, 0x400D8000}
        assert addresses - bases <= told, module
