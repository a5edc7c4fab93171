"""A recording at the probe's sample rate: a polyphase low-pass as one product of matrices.

scipy.signal.resample_poly gives the same samples, and a test holds this to it; importing it takes longer than a whole
replay may.
"""

from fractions import Fraction

import numpy as np
from curbtick_wire.sampling import RATE_HZ
from numpy.typing import NDArray

from curbtick.sound.recording import Recording

Signal = NDArray[np.float64]

# A reading is over long before this much of a file has been played.
PLAYED_S = 30

# Kaiser window of 80 dB stop band; so many zero crossings a side leave 4 % of the slower rate for the filter's edge.
_KAISER_BETA = 7.86
_ZERO_CROSSINGS = 64
# Rates whose ratio is no fraction of small numbers are taken for the nearest one: it is at most a millionth away.
_DENOMINATOR_MAX = 1000


def to_probe_rate(recording: Recording) -> Signal:
    """Resample a recording's beginning to the probe's 250 kS/s, its full scale still being 1.0.

    Polyphase filter of 80 dB stop band, flat up to 0.48 of the slower of the two rates.
    """
    samples = recording.samples[: PLAYED_S * recording.rate_hz]
    ratio = Fraction(RATE_HZ, recording.rate_hz).limit_denominator(_DENOMINATOR_MAX)
    if ratio == 1:
        return samples
    return resample(
        samples, ratio.numerator, ratio.denominator, low_pass(max(ratio.numerator, ratio.denominator))
    )


def low_pass(widest: int) -> Signal:
    """Return the taps at `widest` times the slower rate, their sum 1, symmetric about the middle one."""
    taps = np.arange(-_ZERO_CROSSINGS * widest, _ZERO_CROSSINGS * widest + 1)
    kernel = np.sinc(taps / widest) * np.kaiser(len(taps), _KAISER_BETA)
    normed: Signal = kernel / kernel.sum()
    return normed


def resample(samples: Signal, up: int, down: int, taps: Signal) -> Signal:
    """Return samples at up/down times their rate, the first output at the moment of the first sample.

    taps: an odd number of filter taps at up times the input's rate, symmetric about the middle one. The output has
    ceil(len(samples) * up / down) values; before and after the input is silence.

    Output n is the sum over the input i of up * taps[middle + n * down - i * up] * samples[i]. Every `down` inputs the
    pattern repeats, so that outputs are made in frames of equal length by one matrix.
    """
    middle = len(taps) // 2
    reach = -(-middle // up)
    periods = -(-2 * (reach + 1) // down)
    step, width = periods * down, periods * up
    count = -(-len(samples) * up // down)
    frames = -(-count // width)
    padded = np.zeros((frames + 1) * step + reach)
    padded[reach : reach + len(samples)] = samples[: len(padded) - reach]
    rows = padded[: (frames + 1) * step].reshape(frames + 1, step)
    matrix = up * _frame_matrix(taps, up, down, step, width, reach)
    # A frame hears its own inputs and the beginning of the next frame's.
    out: Signal = rows[:-1] @ matrix[:step] + rows[1:] @ matrix[step:]
    return out.reshape(-1)[:count]


def _frame_matrix(taps: Signal, up: int, down: int, step: int, width: int, reach: int) -> Signal:
    """Return the weight of each of two frames' inputs (rows) in each output of the first (columns)."""
    inputs = np.arange(2 * step)[:, None] - reach
    place = len(taps) // 2 + np.arange(width)[None, :] * down - inputs * up
    inside = (place >= 0) & (place < len(taps))
    matrix: Signal = np.where(inside, taps[np.clip(place, 0, len(taps) - 1)], 0.0)
    return matrix
