"""What the probe's ADC delivers: the sum of all sounds at the microphone, through front end and converter.

    ear = scenes.single(class_khz=48, level_dbfs=-8, interval_ms=200, seed=1)
    samples = ear.read(1024, names.INPUT_LOW, start_us=0)

Time is absolute: any start may be read; reading on from where the last read ended costs least. Sounds are the same each
time a moment is read, the electronic noise is drawn anew.
"""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from curbtick_wire.names import INPUT_HIGH, INPUT_LOW
from curbtick_wire.sampling import RATE_HZ

from curbtick.yard.ear.probe_state import ProbeState
from curbtick.yard.front_end.inputs import (
    AMPLIFIER_NOISE_DBFS,
    BAND_SHARE,
    INPUTS,
    MICROPHONE_NOISE_DBFS,
    Adc,
    Samples,
    Volts,
    codes_of_rms_dbfs,
    rms_dbfs_of_codes,
    stop,
)
from curbtick.yard.front_end.timebase import TICKS_PER_SAMPLE, ticks_of_us

if TYPE_CHECKING:
    from curbtick.yard.sounds.noise import Layer
    from curbtick.yard.sounds.sources import Source

CHUNK = 8192


class _SelfNoise:
    """White noise behind the band-pass of the high input, block after block without a seam.

    It is made when it is first asked for: only the high input has it, and scipy.signal takes a second to load.
    """

    def __init__(self) -> None:
        from scipy.signal import butter, sosfilt

        high = INPUTS[INPUT_HIGH]
        corners_hz = (high.high_pass_hz, high.low_pass_hz)
        self._filter = sosfilt
        self._sections = butter(2, corners_hz, "bandpass", fs=RATE_HZ, output="sos").astype(np.float32)
        self._state = np.zeros((len(self._sections), 2), dtype=np.float32)

    def shaped(self, white: Volts) -> Volts:
        """Return the next block of white noise, filtered."""
        block: Volts
        block, self._state = self._filter(self._sections, white, zi=self._state)
        return block


@dataclass
class _Position:
    """Where reading stands: input, next tick, samples already made from there on."""

    input_: int = -1
    next_tick: int = -1
    made: Samples = field(default_factory=lambda: np.empty(0, dtype=np.uint16))


class Ear:
    """The samples of one place: sources (bursts, bats, keys ...), layers (noise, spurs), and the probe's own state."""

    def __init__(
        self,
        sources: "tuple[Source, ...]" = (),
        layers: "tuple[Layer, ...]" = (),
        probe: ProbeState | None = None,
        adc: Adc | None = None,
        seed: int = 0,
    ) -> None:
        self.sources = sources
        self.layers = layers
        self.probe = probe or ProbeState()
        self.adc = adc or Adc()
        self._random = np.random.default_rng(seed)
        self._at = _Position()
        self._self_noise: _SelfNoise | None = None

    def read(self, count: int, input: int, start_us: float) -> Samples:
        """Return count samples of an input (names.INPUT_...) from start_us on, uint16 codes 0..4095."""
        tick = ticks_of_us(start_us)
        if input != self._at.input_ or tick != self._at.next_tick:
            self._at = _Position(input, tick)
        at = self._at
        parts = [at.made]
        ready = len(at.made)
        while ready < count:
            parts.append(self._chunk(input, at.next_tick + ready * TICKS_PER_SAMPLE))
            ready += CHUNK
        samples: Samples = np.concatenate(parts) if len(parts) > 1 else parts[0]
        at.made = samples[count:]
        at.next_tick += count * TICKS_PER_SAMPLE
        return samples[:count]

    def noise_dbfs(self, start_us: float, end_us: float) -> float:
        """Return the rms over 30-80 kHz on the low input of all that lasts, in dBFS (bursts do not count)."""
        start, end = ticks_of_us(start_us), ticks_of_us(end_us)
        power = sum(layer.band_power(start, end) for layer in self.layers)
        electronic = (
            codes_of_rms_dbfs(self.adc.noise_dbfs) ** 2 + codes_of_rms_dbfs(self._mic_dbfs(INPUT_LOW)) ** 2
        )
        return rms_dbfs_of_codes((power + electronic) ** 0.5)

    def _mic_dbfs(self, input_: int) -> float:
        unplugged = self.probe.fault == "unplugged"
        high = AMPLIFIER_NOISE_DBFS if unplugged else MICROPHONE_NOISE_DBFS
        return high + INPUTS[input_].gain_db - INPUTS[INPUT_HIGH].gain_db

    def _chunk(self, input_: int, tick: int) -> Samples:
        if self.probe.stuck_code is not None:
            return np.full(CHUNK, self.probe.stuck_code, dtype=np.uint16)
        codes = self._front_end_noise(input_)
        if self.probe.fault != "unplugged":
            self._add_sounds(codes, input_, tick)
        if self.probe.extra_gain_db:
            codes *= np.float32(10.0 ** (self.probe.extra_gain_db / 20.0))
        stop(codes)
        # White over 0-125 kHz; steps add their own share.
        codes += self._random.standard_normal(CHUNK, dtype=np.float32) * np.float32(self.adc.noise_codes)
        return self.adc.convert(codes)

    def _front_end_noise(self, input_: int) -> Volts:
        """Self-noise of microphone and amplifier; on the other inputs it is far below the ADC's own."""
        if input_ != INPUT_HIGH:
            return np.zeros(CHUNK, dtype=np.float32)
        if self._self_noise is None:
            self._self_noise = _SelfNoise()
        shaped = self._self_noise.shaped(self._random.standard_normal(CHUNK, dtype=np.float32))
        noise: Volts = shaped * np.float32(codes_of_rms_dbfs(self._mic_dbfs(input_)) / BAND_SHARE**0.5)
        return noise

    def _add_sounds(self, codes: Volts, input_: int, tick: int) -> None:
        for layer in self.layers:
            layer.add_to(codes, tick, input_)
        end = tick + CHUNK * TICKS_PER_SAMPLE
        for source in self.sources:
            for event, wave, gain in source.due(tick - source.longest_ticks, end):
                if gain > 0.0:
                    wave.add_to(codes, event - tick, gain, input_)
