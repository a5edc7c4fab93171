"""The probe's ears: microphone, amplifier and ADC, as the nominal front end of curbtick.hardware has them.

Levels in dBFS refer to a sine of 2047.5 codes peak; a noise level is its rms over that sine's rms.
Each input is a second-order high-pass against the yard's rumble, a second-order low-pass against aliasing and the
microphone's own fall; unity gain is at 50 kHz on the low input.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from curbtick_wire.names import INPUT_HIGH, INPUT_LOW, INPUT_PADDED
from curbtick_wire.sampling import FULL_SCALE_CODES, HIGHEST_CODE, RATE_HZ

from curbtick.hardware import converter, frontend, noise

Samples = npt.NDArray[np.uint16]
Volts = npt.NDArray[np.float32]
FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

BAND_LOW_HZ, BAND_HIGH_HZ = noise.BAND_HZ
UNITY_HZ = frontend.UNITY_HZ
BAND_SHARE = (BAND_HIGH_HZ - BAND_LOW_HZ) / (RATE_HZ / 2)


@dataclass(frozen=True)
class Input:
    """One input of the front end: gain over the low input in dB, corners of its band in Hz."""

    gain_db: float
    high_pass_hz: float
    low_pass_hz: float


# The hardware's table, and its name for each input.
TABLE = frontend.of()
OUTPUT_OF = {INPUT_LOW: "low", INPUT_PADDED: "padded", INPUT_HIGH: "high"}

INPUTS = {
    input_: Input(TABLE.step_db(output), *TABLE.corners_hz(output)) for input_, output in OUTPUT_OF.items()
}

# The code at which every input rests, and the lowest and the highest that its amplifier reaches.
REST_CODE = TABLE.rest_code("low")
STOP_CODES = TABLE.clip_codes()

# A microphone of the kind sold for ultrasound falls by a few dB towards 80 kHz; a second-order low-pass stands for it.
MICROPHONE_LOW_PASS_HZ = 120_000.0

# Over 30-80 kHz on the high input, before the converter's own: the live microphone's self-noise, and the amplifier's
# without a microphone. With the converter they make -42.8 and -53.5 dBFS.
MICROPHONE_NOISE_DBFS = TABLE.front_floor_dbfs()
AMPLIFIER_NOISE_DBFS = TABLE.front_floor_dbfs(live=False)

# 6.02 bits + 1.76 dB below a full-scale sine over 0-125 kHz.
ENOB_BITS = converter.EFFECTIVE_BITS["RP2040"]
# The width of a wide code in codes, read off the figure of erratum RP2040-E11, from memory.
SPIKE_WIDTH = 9

_STEPS_PER_CODE = 4


def codes_of_peak_dbfs(level_dbfs: float) -> float:
    """Return the peak in ADC codes of a sine (or of an envelope) at a level."""
    return FULL_SCALE_CODES * math.pow(10.0, level_dbfs / 20.0)


def codes_of_rms_dbfs(level_dbfs: float) -> float:
    """Return the rms in ADC codes of a noise at a level."""
    return codes_of_peak_dbfs(level_dbfs) / math.sqrt(2.0)


def rms_dbfs_of_codes(rms_codes: float) -> float:
    """Return the level of a noise from its rms in ADC codes."""
    return 20.0 * math.log10(max(rms_codes, 1e-6) * math.sqrt(2.0) / FULL_SCALE_CODES)


@lru_cache(maxsize=32)
def _analog(kind: str, corner_hz: float) -> tuple[FloatArray, FloatArray]:
    # A replay needs no filter, and scipy.signal takes longer to load than a replay may take.
    from scipy.signal import butter

    numerator, denominator = butter(2, 2.0 * np.pi * corner_hz, kind, analog=True)
    return numerator, denominator


def _stage(kind: str, corner_hz: float, frequency_hz: FloatArray) -> ComplexArray:
    from scipy.signal import freqs

    response: ComplexArray = freqs(*_analog(kind, corner_hz), worN=2.0 * np.pi * frequency_hz)[1]
    return response


def _shape(which: Input, frequency_hz: FloatArray) -> ComplexArray:
    return (
        _stage("highpass", which.high_pass_hz, frequency_hz)
        * _stage("lowpass", which.low_pass_hz, frequency_hz)
        * _stage("lowpass", MICROPHONE_LOW_PASS_HZ, frequency_hz)
    )


def response(input_: int, frequency_hz: FloatArray) -> ComplexArray:
    """Return the complex gain of an input (names.INPUT_...) at frequencies in Hz, unity at 50 kHz on the low one."""
    which = INPUTS[input_]
    unity = np.abs(_shape(which, np.array([UNITY_HZ])))[0]
    gain: ComplexArray = _shape(which, frequency_hz) * (10.0 ** (which.gain_db / 20.0) / unity)
    return gain


def stop(codes: Volts) -> None:
    """Cut codes around zero where the amplifiers stop, in place."""
    low, high = STOP_CODES
    np.clip(codes, low - REST_CODE, high - REST_CODE, out=codes)


def _code_table() -> npt.NDArray[np.uint16]:
    """Map quarter codes of an ideal converter to what the RP2040's gives.

    Each wide code takes SPIKE_WIDTH codes of input; the codes between two of them are narrower by as much in sum.
    """
    edges, outputs = [0.0], [-0.5]
    for code in converter.WIDE_CODES:
        edges += [code - SPIKE_WIDTH / 2, code + SPIKE_WIDTH / 2]
        outputs += [code - 0.5, code + 0.5]
    edges.append(float(HIGHEST_CODE))
    outputs.append(HIGHEST_CODE + 0.49)
    ideal = (np.arange((HIGHEST_CODE + 1) * _STEPS_PER_CODE) + 0.5) / _STEPS_PER_CODE - 0.5
    codes = np.rint(np.interp(ideal, edges, outputs))
    for code in converter.WIDE_CODES:
        codes[np.abs(ideal - code) < SPIKE_WIDTH / 2] = code
    return np.clip(codes, 0, HIGHEST_CODE).astype(np.uint16)


_CODES = _code_table()
_IDEAL_CODES = (np.arange((HIGHEST_CODE + 1) * _STEPS_PER_CODE) // _STEPS_PER_CODE).astype(np.uint16)


@dataclass(frozen=True)
class Adc:
    """A 12-bit converter: noise as its effective bits say, and wide codes or ideal steps.

    enob_bits 0 is a converter without noise of its own.
    """

    enob_bits: float = ENOB_BITS
    wide_codes: bool = True

    @property
    def noise_codes(self) -> float:
        """rms in codes that, with ideal 12-bit steps, makes up the stated effective bits."""
        if not self.enob_bits:
            return 0.0
        total = FULL_SCALE_CODES / 2.0**0.5 * 10.0 ** (-converter.sine_to_noise_db(self.enob_bits) / 20.0)
        return float(max(total**2 - 1.0 / 12.0, 0.0) ** 0.5)

    @property
    def noise_dbfs(self) -> float:
        """Level over 30-80 kHz of the converter's noise, its steps included."""
        return rms_dbfs_of_codes(((self.noise_codes**2 + 1.0 / 12.0) * BAND_SHARE) ** 0.5)

    def convert(self, codes: Volts) -> Samples:
        """Quantise float codes around rest (they are overwritten), clipped to 0..4095; noise is the caller's."""
        codes += np.float32(REST_CODE + 0.5)
        codes *= _STEPS_PER_CODE
        np.clip(codes, 0, len(_CODES) - 1, out=codes)
        table = _CODES if self.wide_codes else _IDEAL_CODES
        converted: Samples = table.take(codes.astype(np.intp))
        return converted
