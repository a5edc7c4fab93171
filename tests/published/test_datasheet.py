"""The firmware's numbers for the chip against what its data sheets, and an independent model of it, say.

Section 4.9 (ADC) and the effective bits were read in a retrievable document; subsections' numbers are from memory.
"""

import ast
import math
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from curbtick.hardware import converter
from curbtick_probe.board.rp2 import pins
from curbtick_wire import sampling
from rp2040py import sio
from rp2040py.memory_map import SIO_START_ADDRESS
from rp2040py.peripherals import adc as model
from rp2040py.peripherals.dma import CHN_AL2_WRITE_ADDR_TRIG, TREQ, DREQChannel

BOARD = Path(pins.__file__).parent


def _constants(name: str) -> dict[str, int]:
    """The module's `NAME = const(...)` and plain integer expressions, evaluated in order (RP2040)."""
    facts = {name: getattr(sampling, name) for name in ("RATE_HZ", "BLOCK", "BLOCK_US")}
    rp2040 = SimpleNamespace(RP2350=False)
    values: dict[str, Any] = {"const": lambda value: value, "chip": rp2040, "pins": pins, **facts}
    for node in ast.parse((BOARD / name).read_text()).body:
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            try:
                expression = compile(ast.Expression(node.value), name, "eval")
                values.setdefault(node.targets[0].id, eval(expression, {"__builtins__": {}}, values))
            except (NameError, TypeError, AttributeError):
                continue
    return values


CAPTURE = _constants("adc_dma.py")
BAR = _constants("bar.py")


def test_divider_gives_the_rate() -> None:
    """Period = (1 + INT + FRAC/256) / 48 MHz, so INT 191 is 250 kS/s (RP2040 data sheet section 4.9.2.2)."""
    whole, fraction = CAPTURE["_DIV_RUN"] >> 8, CAPTURE["_DIV_RUN"] & 255
    assert (whole, fraction) == (191, 0)
    assert 48_000_000 / (1 + whole + fraction / 256) == CAPTURE["RATE_HZ"] == 250_000
    assert CAPTURE["BLOCK"] * 1_000_000 / CAPTURE["RATE_HZ"] == CAPTURE["BLOCK_US"]


def test_adc_registers_and_bits_are_those_of_an_independent_model() -> None:
    """PyPI rp2040py's ADC; RP2040 data sheet section 4.9.6."""
    base = CAPTURE["_ADC"]
    offsets = {name: CAPTURE[name] - base for name in ("_CS", "_FCS", "_FIFO", "_DIV")}
    assert offsets == {"_CS": model.CS, "_FCS": model.FCS, "_FIFO": model.FIFO_REG, "_DIV": model.DIV}
    assert CAPTURE["_CS_EN"] == model.CS_EN and CAPTURE["_CS_READY"] == model.CS_READY
    assert CAPTURE["_CS_START_MANY"] == model.CS_START_MANY
    assert CAPTURE["_CS_INPUT_SHIFT"] == model.CS_AINSEL_SHIFT
    assert CAPTURE["_FCS_EN"] == model.FCS_EN and CAPTURE["_FCS_DREQ"] == model.FCS_DREQ_EN
    assert CAPTURE["_FCS_OVER"] == model.FCS_OVER and CAPTURE["_FCS_UNDER"] == model.FCS_UNDER
    assert CAPTURE["_FCS_LEVEL"] == model.FCS_LEVEL_MASK << model.FCS_LEVEL_SHIFT
    assert CAPTURE["_FCS_THRESHOLD_ONE"] == 1 << model.FCS_THRESH_SHIFT


def test_dma_requests_and_aliases() -> None:
    """RP2040: DREQ_ADC 36, unpaced 0x3f (data sheet section 2.5.3); the model has them from elsewhere."""
    assert CAPTURE["_DREQ_ADC"] == DREQChannel.DREQ_ADC == 36
    assert CAPTURE["_DMA_UNPACED"] == TREQ.PERMANENT
    assert CAPTURE["_DMA_WRITE_ADDRESS_TRIGGER"] == CHN_AL2_WRITE_ADDR_TRIG
    assert 4 * CAPTURE["RING_BLOCKS"] == 1 << 5, "the control channel's ring of 2**5 bytes"


def test_output_registers_are_those_of_an_independent_model() -> None:
    """PyPI rp2040py's SIO; RP2040 data sheet section 2.3.1."""
    assert BAR["_OUT"] == SIO_START_ADDRESS + sio.GPIO_OUT
    assert BAR["_OUT_XOR"] == SIO_START_ADDRESS + sio.GPIO_OUT_XOR


def test_bar_s_pins_stand_side_by_side() -> None:
    """One shift puts a mask on them."""
    assert [pins.gpio(f"bar_{led + 1}") - BAR["_FIRST"] for led in range(12)] == list(range(12))
    assert BAR["_ALL"] == 0xFFF


def _choices(name: str) -> dict[str, tuple[int, int]]:
    """What a module takes for (RP2350, RP2040)."""
    return {
        node.targets[0].id: (node.value.body.value, node.value.orelse.value)  # type: ignore[attr-defined]
        for node in ast.parse((BOARD / name).read_text()).body
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.IfExp)
    }


def test_numbers_of_the_rp2350() -> None:
    """As the vendor's register headers (pico-sdk 2.2.0) state them.

    ADC base 0x400a0000, DREQ_ADC 48; SIO base 0xd0000000, GPIO_OUT at 0x10 as on the RP2040, GPIO_OUT_XOR at 0x28, not
    0x1c, which sets bits of the second bank there.
    """
    assert _choices("adc_dma.py") == {"_ADC": (0x400A0000, 0x4004C000), "_DREQ_ADC": (48, 36)}
    assert _choices("bar.py") == {"_OUT_XOR": (0xD0000028, 0xD000001C)}


def test_effective_bits() -> None:
    """8.7 (RP2040, section 4.9.3) and 9.2 (RP2350, section 12.4.3) bits: 54.1 and 57.1 dB by 6.02 N + 1.76."""
    assert converter.EFFECTIVE_BITS == {"RP2040": 8.7, "RP2350": 9.2}
    assert [6.02 * bits + 1.76 for bits in converter.EFFECTIVE_BITS.values()] == pytest.approx(
        [54.1, 57.1], abs=0.05
    )


def test_wide_codes_are_beyond_a_quarter_of_full_scale_from_the_bias() -> None:
    """Erratum RP2040-E11: codes 512, 1536, 2560 and 3584; a bias of 2048 keeps 512 codes of room both ways."""
    assert min(abs(code - 2048) for code in (512, 1536, 2560, 3584)) == 512
    assert 20 * math.log10(512 / 2047.5) == pytest.approx(-12.04, abs=0.01)


def test_temperature_formula() -> None:
    """T = 27 - (V - 0.706) / 0.001721 (RP2040 data sheet section 4.9.5), in tenths of a degree by integers."""
    source = (BOARD / "board.py").read_text()
    assert "270 - (microvolts - 706_000) * 10 // 1721" in source
    for volts in (0.600, 0.706, 0.750):
        ddeg = 270 - (round(volts * 1e6) - 706_000) * 10 // 1721
        assert ddeg == pytest.approx(10 * (27 - (volts - 0.706) / 0.001721), abs=1)


def test_supply_pin_reads_a_third() -> None:
    """GPIO 29 sees a third of VSYS, GPIO 24 whether VBUS is there (the 40-pad board's data sheet; from memory)."""
    assert (pins.gpio("supply"), pins.gpio("usb_power"), pins.gpio("quiet_supply")) == (29, 24, 23)
    assert 3 * 3.3 > 5.5, "the whole supply range can be read"
