"""The virtual yard's time axis: one count of quarter microseconds that never restarts.

A tick is 0.25 us, a sixteenth of the probe's sample period, so every sound may start between two samples and
still be placed without rounding. Wave shapes are kept at one value per tick.
"""

from curbtick_wire.sampling import RATE_HZ

TICKS_PER_SAMPLE = 16
WAVE_RATE_HZ = RATE_HZ * TICKS_PER_SAMPLE
TICKS_PER_US = WAVE_RATE_HZ // 1_000_000
TICKS_PER_MS = TICKS_PER_US * 1000


def ticks_of_us(time_us: float) -> int:
    """Return the tick nearest to a time in microseconds."""
    return round(time_us * TICKS_PER_US)


def ticks_of_ms(time_ms: float) -> int:
    """Return the tick nearest to a time in milliseconds."""
    return round(time_ms * TICKS_PER_MS)
