"""The converter: steps of unequal width, a missing code, and its own noise."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from tests.bench.otheryard.types import F32, Codes

CODES = 4096
# RP2040 data sheet, erratum RP2040-E11: wide codes at an eighth, three eighths and so on.
WIDE_CODES = (512, 1536, 2560, 3584)
# Missing on three boards (raspberrypi/pico-feedback issue 91).
MISSING_CODE = 2047
_FINE = 8
# Signal to noise and distortion of an ideal converter of b bits: 6.02 b + 1.76 dB.
_DB_A_BIT, _DB_OF_A_SINE = 6.02, 1.76
SINE_RMS_CODES = 2047.5 / np.sqrt(2)


@dataclass(frozen=True)
class Converter:
    """effective_bits: noise as the data sheet's ENOB says it; wide_lsb: width of the wide codes, 1 is none."""

    effective_bits: float = 8.7
    wide_lsb: float = 1.0
    missing: bool = False

    def noise_codes(self) -> float:
        """Rms of the noise, white over 125 kHz."""
        sinad_db = _DB_A_BIT * self.effective_bits + _DB_OF_A_SINE
        return float(SINE_RMS_CODES * 10 ** (-sinad_db / 20))

    def convert(self, codes: F32) -> Codes:
        """Ideal, fractional codes to what comes out; beyond both ends it saturates."""
        if self.wide_lsb == 1.0 and not self.missing:
            return np.rint(np.clip(codes, 0, CODES - 1)).astype(np.uint16)
        fine = np.clip((codes + 0.5) * _FINE, 0, CODES * _FINE - 1).astype(np.int32)
        return np.asarray(_table(self.wide_lsb, self.missing)[fine])


@lru_cache(maxsize=64)
def _table(wide_lsb: float, missing: bool) -> Codes:
    """The code for each eighth of an ideal code. What a wide code takes, the 32 codes on either side give."""
    width = np.ones(CODES)
    for code in WIDE_CODES:
        width[code - 32 : code + 33] -= (wide_lsb - 1) / 64
        width[code] = wide_lsb
    if missing:
        width[MISSING_CODE], width[MISSING_CODE - 1], width[MISSING_CODE + 1] = 0.0, 1.5, 1.5
    upper_ends = np.cumsum(width)
    centres = (np.arange(CODES * _FINE) + 0.5) / _FINE
    return np.minimum(np.searchsorted(upper_ends, centres, side="right"), CODES - 1).astype(np.uint16)
