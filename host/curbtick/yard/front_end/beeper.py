"""The probe's own beeper, as its microphone hears it."""

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from curbtick_wire.sampling import HIGHEST_CODE, RATE_HZ
from numpy.typing import NDArray

from curbtick.yard.front_end.inputs import OUTPUT_OF, TABLE, codes_of_peak_dbfs

SAMPLE_US = 1e6 / RATE_HZ

# A piezo of 80 dB SPL at the microphone (an assumption), through the front end at 4 kHz: peak codes at each input.
PIEZO_DB_SPL, PIEZO_HZ = 80.0, 4_000.0
PEAK_CODES = {
    input_: codes_of_peak_dbfs(TABLE.dbfs(PIEZO_DB_SPL, output, PIEZO_HZ))
    for input_, output in OUTPUT_OF.items()
}


class BeepLike(Protocol):
    """One beep: start in microseconds, pitch and duration."""

    @property
    def time_us(self) -> int:
        """Start, microseconds since power-on."""
        ...

    @property
    def frequency_hz(self) -> int:
        """Pitch in Hz; 0 is silence."""
        ...

    @property
    def duration_ms(self) -> int:
        """Duration in milliseconds."""
        ...


def hear(
    samples: NDArray[np.uint16], beeps: Sequence[BeepLike], input_: int, start_us: int, ear: object
) -> NDArray[np.uint16]:
    """Add the latest beep to the samples of a block that starts at start_us, where they overlap.

    An ear whose `probe.fault` is "unplugged" or whose code is stuck hears nothing of it.
    """
    if not beeps or _is_deaf(ear):
        return samples
    beep = beeps[-1]
    end_us = start_us + len(samples) * SAMPLE_US
    if not beep.frequency_hz or beep.time_us >= end_us or beep.time_us + beep.duration_ms * 1000 <= start_us:
        return samples
    time_us = start_us + SAMPLE_US * np.arange(len(samples)) - beep.time_us
    during = (time_us >= 0.0) & (time_us < beep.duration_ms * 1000)
    tone = PEAK_CODES[input_] * np.sin(2e-6 * np.pi * beep.frequency_hz * time_us) * during
    summed: NDArray[np.uint16] = np.clip(np.rint(samples + tone), 0, HIGHEST_CODE).astype(np.uint16)
    return summed


def _is_deaf(ear: object) -> bool:
    state = getattr(ear, "probe", None)
    return getattr(state, "fault", None) == "unplugged" or getattr(state, "stuck_code", None) is not None
