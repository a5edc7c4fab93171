"""The seal check's tone: a WAV for any player, and the trade-off behind its default frequency.

Every term is in dB relative to its value at 10 kHz, so that only their shape counts; hardware_notes/tone_choice.md
tells the story. Terms without a source of their own are marked common practice.
"""

import math
import wave
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from curbtick_wire.sampling import TONE_HIGHEST_HZ, TONE_HZ, TONE_LOWEST_HZ, TONE_STEP_HZ

from curbtick.air import NEPER_DB, REFERENCE_SOUND_M_S
from curbtick.errors import InputError

CHOICES_HZ = range(TONE_LOWEST_HZ, TONE_HIGHEST_HZ + 1, TONE_STEP_HZ)

AIR_VISCOSITY_M2_S = 1.511e-5
# 1 + (gamma - 1) / sqrt(Prandtl number): heat conduction adds this to a boundary layer's viscous loss.
THERMAL_FACTOR = 1.0 + 0.4 / math.sqrt(0.71)
EULER = 0.5772156649

# The gap looked for: a leaking door seal lifted by half a millimetre over 15 mm (common practice).
GAP_WIDTH_M, GAP_DEPTH_M = 0.5e-3, 15e-3

# Small speakers of phones and players fall from here on, second order; lossy codecs cut at 15 to 16 kHz at usual bit
# rates, and the tone must pass the lowest (common practice).
SPEAKER_CORNER_HZ = 15_000.0
CODEC_CUT_HZ, CODEC_SLOPE_DB_PER_KHZ = 15_000.0, 12.0

# Noise of a workshop falls with frequency (common practice: 9 dB an octave beyond 8 kHz, compressed air aside).
NOISE_FALL_DB_PER_OCTAVE = 9.0

# Threshold of hearing in a free field, dB SPL (ISO 389-7:2005, table 1, from memory).
HEARING_HZ = (10_000.0, 11_200.0, 12_500.0, 14_000.0, 16_000.0, 18_000.0)
HEARING_DB_SPL = (13.9, 13.5, 11.9, 18.4, 40.2, 70.4)
# A tone that is less heard disturbs less; a tenth of that counts, and no more than this: it is no reason to be
# careless.
ANNOYANCE_SHARE, ANNOYANCE_MOST_DB = 0.1, 3.0

# Exposure of people, third-octave level in dB SPL at 20 kHz and at 25 to 50 kHz (Howard, Hansen & Zander 2004, the
# consensus of national limits). The lower one is taken for every tone of ours.
EXPOSURE_20_KHZ_DB_SPL, EXPOSURE_25_TO_50_KHZ_DB_SPL = 75.0, 110.0

RATE_HZ = 48_000
FULL_SCALE = 32_767


@dataclass(frozen=True)
class Tone:
    """A tone to be written: frequency in Hz, peak level in dBFS, length and fades in seconds."""

    frequency_hz: int = TONE_HZ
    level_dbfs: float = -6.0
    duration_s: float = 300.0
    fade_in_s: float = 3.0
    fade_out_s: float = 0.5

    def __post_init__(self) -> None:
        if not TONE_LOWEST_HZ <= self.frequency_hz <= TONE_HIGHEST_HZ or self.frequency_hz % TONE_STEP_HZ:
            raise _refused(
                f"A tone of {self.frequency_hz} Hz is not one the probe listens for.",
                f"Choose {TONE_LOWEST_HZ} to {TONE_HIGHEST_HZ} Hz in steps of {TONE_STEP_HZ} Hz.",
            )
        if not -60.0 <= self.level_dbfs <= 0.0:
            raise _refused(f"A level of {self.level_dbfs} dBFS makes no sense.", "Choose -60 to 0 dBFS.")
        if not 1.0 <= self.duration_s <= 3600.0:
            raise _refused(f"A length of {self.duration_s} s makes no sense.", "Choose 1 to 3600 s.")
        if not 0.05 <= self.fade_in_s <= self.duration_s / 2:
            raise _refused(
                f"A fade-in of {self.fade_in_s} s does not fit the tone.",
                "Choose at least 0.05 s and at most half the tone's length.",
            )

    @property
    def samples(self) -> np.ndarray:
        """int16 samples at RATE_HZ: a raised-cosine fade-in, the steady tone, a short fade-out."""
        count = round(self.duration_s * RATE_HZ)
        at = np.arange(count)
        turns = (at * self.frequency_hz % RATE_HZ) / RATE_HZ
        peak = FULL_SCALE * 10.0 ** (self.level_dbfs / 20.0)
        ramp = np.minimum(
            at / (self.fade_in_s * RATE_HZ), (count - at) / (min(self.fade_out_s, 0.5) * RATE_HZ)
        )
        envelope = 0.5 - 0.5 * np.cos(np.pi * np.clip(ramp, 0.0, 1.0))
        codes: np.ndarray = np.rint(peak * envelope * np.sin(2.0 * np.pi * turns)).astype("<i2")
        return codes

    def write(self, path: Path) -> None:
        """Write a mono 16-bit WAV. Raises InputError where the file cannot be written."""
        try:
            with path.open("wb") as raw, wave.open(raw, "wb") as file:
                file.setnchannels(1)
                file.setsampwidth(2)
                file.setframerate(RATE_HZ)
                file.writeframes(self.samples.tobytes())
        except OSError as error:
            raise _refused(
                f"{path} cannot be written: {error.strerror}.", "Name a place that can."
            ) from error


def _refused(what: str, next_step: str) -> InputError:
    return InputError(what, "No tone was written.", next_step)


def gap_loss_db(frequency_hz: float, width_m: float = GAP_WIDTH_M, depth_m: float = GAP_DEPTH_M) -> float:
    """Return the loss of a tone on its way through a slit by the air's viscosity and heat conduction, in dB.

    A plane wave between two plates: alpha = sqrt(omega nu / 2) (1 + (gamma - 1) / sqrt(Pr)) / (c width) nepers a metre
    (Kirchhoff's boundary layer; Pierce, Acoustics, section 10-5, from memory).
    """
    omega = 2.0 * math.pi * frequency_hz
    layer = math.sqrt(omega * AIR_VISCOSITY_M2_S / 2.0)
    return NEPER_DB * depth_m * layer * THERMAL_FACTOR / (REFERENCE_SOUND_M_S * width_m)


def gap_transmission_db(
    frequency_hz: float, width_m: float = GAP_WIDTH_M, depth_m: float = GAP_DEPTH_M
) -> float:
    """Return a slit's transmission for its own area at normal incidence, averaged over its resonances, in dB.

    Gomperts' formula for a slit in the middle of a wall (M. C. Gomperts, Acustica 14, 1964; from memory), the losses of
    gap_loss_db taken off. No seal is known to the millimetre: resonances are averaged over depths from half to double.
    """
    depths = depth_m * 2.0 ** np.linspace(-1.0, 1.0, 201)
    powers = [_gomperts(frequency_hz, width_m, depth) for depth in depths]
    return 10.0 * math.log10(float(np.mean(powers))) - gap_loss_db(frequency_hz, width_m, depth_m)


def _gomperts(frequency_hz: float, width_m: float, depth_m: float) -> float:
    small = 2.0 * math.pi * frequency_hz / REFERENCE_SOUND_M_S * width_m
    long = depth_m / width_m
    end = (math.log(8.0 / small) - EULER) / math.pi
    phase = small * (long + 2.0 * end)
    both = math.sin(phase) ** 2 / math.cos(small * end) ** 2
    radiated = small**2 / 2.0 * (1.0 + math.cos(phase) * math.cos(small * long))
    return 2.0 * small * math.cos(small * end) ** 2 / (both + radiated)


def panel_loss_db(frequency_hz: float, kg_m2: float = 8.0) -> float:
    """Return the loss through the door's skin or glass beside the gap by the mass law, 20 lg(m f) - 47 dB.

    What comes through the panel hides what comes through the gap. The formula is common practice.
    """
    return 20.0 * math.log10(kg_m2 * frequency_hz) - 47.0


def source_db(frequency_hz: float) -> float:
    """Return what a small speaker, fed through a lossy codec, still plays, in dB."""
    speaker = -10.0 * math.log10(1.0 + (frequency_hz / SPEAKER_CORNER_HZ) ** 4)
    return speaker - max(0.0, frequency_hz - CODEC_CUT_HZ) / 1e3 * CODEC_SLOPE_DB_PER_KHZ


def noise_db(frequency_hz: float) -> float:
    """Return the noise in the detector's band, in dB relative to 10 kHz."""
    return -NOISE_FALL_DB_PER_OCTAVE * math.log2(frequency_hz / 10e3)


def relief_db(frequency_hz: float) -> float:
    """Return what being hard to hear is worth, in dB."""
    threshold = float(np.interp(frequency_hz, HEARING_HZ, HEARING_DB_SPL))
    return min(ANNOYANCE_MOST_DB, ANNOYANCE_SHARE * (threshold - HEARING_DB_SPL[0]))


# What comes through the panel matters only where the gap is nearly as weak as it: half its gain counts (our judgement).
PANEL_SHARE = 0.5

# The terms of the trade-off; each is worth more where it is higher.
TERMS: dict[str, Callable[[float], float]] = {
    "gap": gap_transmission_db,
    "panel": lambda hz: PANEL_SHARE * panel_loss_db(hz),
    "source": source_db,
    "noise": lambda hz: -noise_db(hz),
    "relief": relief_db,
}


def terms_db(frequency_hz: float) -> dict[str, float]:
    """Return each term relative to its value at 10 kHz."""
    return {name: term(frequency_hz) - term(float(TONE_LOWEST_HZ)) for name, term in TERMS.items()}


def merit_db(frequency_hz: float) -> float:
    """Return the sum of the terms: how much better a tone serves than one of 10 kHz."""
    return sum(terms_db(frequency_hz).values())


def best_hz() -> int:
    """Return the tone of the highest merit."""
    return max(CHOICES_HZ, key=merit_db)
