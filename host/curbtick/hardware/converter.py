"""The controller's analogue-to-digital converter: reference, effective bits, known steps."""

import math

from curbtick_wire.sampling import FULL_SCALE_CODES

from curbtick.hardware.components import figure

_BOARD_SHEET = "Raspberry Pi Pico data sheet, section 4.3"

CODES = 4096

RAIL_V = figure(3.3, 3.2, 3.4, "RT6150 converter set to 3.3 V on the board; the range from memory, 3 %")
REFERENCE_OHM = figure(
    201.0,
    199.0,
    203.0,
    f"{_BOARD_SHEET}: 200 ohm (R7) and 1 ohm (R9), 2.2 uF; the divider stands behind both",
)
# The filter's capacitor on the board (same section).
REFERENCE_F = 2.2e-6
REFERENCE_MA = figure(0.15, 0.10, 0.25, f"{_BOARD_SHEET}: about 150 uA, from chip to chip (from memory)")
OFFSET_CODES = figure(0.0, -10.0, 10.0, "the converter's own offset; from memory")

# RP2040 data sheet section 4.9.3; RP2350 data sheet section 12.4.3.
EFFECTIVE_BITS = {"RP2040": 8.7, "RP2350": 9.2}

# Wide codes of the RP2040: erratum RP2040-E11 (data sheet).
WIDE_CODES = (512, 1536, 2560, 3584)
# Codes where owners and the maker report a wide, a missing or a shifted code: the wide ones above;
# raspberrypi/pico-feedback issue 91 (2047 missing on three boards); earlephilhower/arduino-pico issue 2534 (RP2350).
STEPS_CODES = {"RP2040": (*WIDE_CODES, 2047), "RP2350": (1536, 2048, 2560)}

# raspberrypi/pico-feedback issue 91: rms noise with GP23 low (the converter's power-save mode) and high (low ripple).
POWER_SAVE_NOISE_CODES = 0.97
LOW_RIPPLE_NOISE_CODES = 1.36


def sine_to_noise_db(bits: float) -> float:
    """Return the ratio of a full-scale sine to the quantisation noise of a converter: 6.02 bits + 1.76 dB."""
    return 6.02 * bits + 1.76


def noise_codes(chip: str) -> float:
    """All that keeps a chip's converter from being ideal, its supply included, as rms codes: from its effective bits.

    Spread evenly to half the sampling rate. chip: "RP2040" or "RP2350".
    """
    below_db = sine_to_noise_db(EFFECTIVE_BITS[chip])
    return FULL_SCALE_CODES / math.sqrt(2.0) * math.pow(10.0, -below_db / 20.0)
