"""Wave shapes on the tick grid, and what the front end makes of them.

A Wave is the sound at the microphone in codes of the low input at unity gain, one value per tick from the burst's
start. Its shape behind each input is computed once, when first heard.
"""

from functools import lru_cache

import numpy as np
import numpy.typing as npt
from curbtick_wire.names import INPUT_LOW
from scipy import fft

from curbtick.yard.air.collar import Tap
from curbtick.yard.front_end.inputs import Volts, response
from curbtick.yard.front_end.timebase import TICKS_PER_SAMPLE, WAVE_RATE_HZ
from curbtick.yard.sounds.sensors import RealWave

# The filters of the front end ring on for this long behind a sound.
_TAIL_TICKS = 1200
# Beyond this neither a sound nor the front end has anything left.
_NOTHING_HZ = 400_000
# Transforms come in few sizes, so that the front end's response is computed once for each.
_SIZE_STEP = 4096


def with_taps(wave: RealWave, taps: tuple[Tap, ...]) -> RealWave:
    """Return a wave followed by its reflections: the wave itself plus a delayed, scaled copy per tap."""
    longest = max((tap.delay_ticks for tap in taps), default=0)
    out = np.zeros(len(wave) + longest, dtype=np.float32)
    out[: len(wave)] = wave
    for tap in taps:
        out[tap.delay_ticks : tap.delay_ticks + len(wave)] += np.float32(tap.gain) * wave
    return out


def transform_size(count: int) -> int:
    """Return the transform's size for a wave of count ticks."""
    return int(fft.next_fast_len(-(-count // _SIZE_STEP) * _SIZE_STEP, real=True))


@lru_cache(maxsize=128)
def _response(input_: int, size: int) -> npt.NDArray[np.complex64]:
    bins = _NOTHING_HZ * size // WAVE_RATE_HZ
    return response(input_, np.arange(bins) * WAVE_RATE_HZ / size).astype(np.complex64)


class Wave:
    """One sound's pressure on the tick grid, in codes; `behind` gives its samples' source for each input."""

    def __init__(self, codes: RealWave) -> None:
        self._codes = codes
        self._behind: dict[int, Volts] = {}

    @property
    def ticks(self) -> int:
        """Length in ticks behind the front end."""
        return len(self._codes) + _TAIL_TICKS

    def behind(self, input_: int = INPUT_LOW) -> Volts:
        """Return the wave behind an input's filters and gain, in codes, one value per tick."""
        if input_ not in self._behind:
            self._behind[input_] = self._filtered(input_)
        return self._behind[input_]

    def _filtered(self, input_: int) -> Volts:
        size = transform_size(self.ticks)
        gain = _response(input_, size)
        spectrum = fft.rfft(self._codes, size)
        spectrum[: len(gain)] *= gain
        spectrum[len(gain) :] = 0.0
        out: Volts = fft.irfft(spectrum, size)[: self.ticks]
        return out

    def scaled(self, gain: float) -> "Wave":
        """Return the same wave times a gain."""
        out = Wave(self._codes * np.float32(gain))
        out._behind = {input_: wave * np.float32(gain) for input_, wave in self._behind.items()}
        return out

    def add_to(self, block: Volts, offset_ticks: int, gain: float, input_: int) -> None:
        """Add the wave to a block of samples, its first tick offset_ticks after the block's first sample.

        block: float32 codes at the sample rate, changed in place; offset_ticks may be negative.
        """
        shape = self.behind(input_)
        first = max(0, -(-offset_ticks // TICKS_PER_SAMPLE))
        part = shape[first * TICKS_PER_SAMPLE - offset_ticks :: TICKS_PER_SAMPLE]
        part = part[: max(0, len(block) - first)]
        block[first : first + len(part)] += part if gain == 1.0 else np.float32(gain) * part
