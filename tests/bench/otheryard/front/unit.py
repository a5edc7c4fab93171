"""One probe: gains, stops, rests and noise of its three inputs, nominal or drawn, as the hardware's table has them."""

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from curbtick.hardware import frontend
from curbtick_wire.names import INPUT_HIGH, INPUT_LOW, INPUT_PADDED

from tests.bench.otheryard.front.converter import SINE_RMS_CODES, Converter
from tests.bench.otheryard.front.hum import Line
from tests.bench.otheryard.front.microphone import SOUND, Microphone
from tests.bench.otheryard.physics.level import FULL_SCALE_CODES
from tests.bench.otheryard.physics.strips import cut
from tests.bench.otheryard.types import F32, F64, Codes

OUTPUTS = {INPUT_LOW: "low", INPUT_PADDED: "padded", INPUT_HIGH: "high"}
TABLE = frontend.of()


def step_db(built: frontend.FrontEnd) -> dict[int, float]:
    """Gains of the inputs against the low one."""
    return {input_: built.step_db(output) for input_, output in OUTPUTS.items()}


def rest_codes(built: frontend.FrontEnd) -> dict[int, float]:
    """Where the inputs rest."""
    return {input_: built.rest_code(output) for input_, output in OUTPUTS.items()}


# Nominal gains, rests and stops.
STEP_DB, REST_CODES, STOP_CODES = step_db(TABLE), rest_codes(TABLE), TABLE.clip_codes()
HIGH_OVER_LOW_DB = STEP_DB[INPUT_HIGH]
# Noise over 30 to 80 kHz at the high input, dBFS: the amplifiers' with a live microphone, and without one.
LIVE_NOISE_DBFS, OPEN_NOISE_DBFS = TABLE.front_floor_dbfs(), TABLE.front_floor_dbfs(live=False)
# Share of the converter's noise, white over 125 kHz, that lies within 30 to 80 kHz.
BAND_SHARE = 0.4
KNOTS, KNOT_SAMPLES = 4096, 1000


@dataclass(frozen=True)
class Unit:
    """A copy of the probe. The dB gains are against nominal, by input."""

    step_db: dict[int, float] = field(default_factory=lambda: dict(STEP_DB))
    rest_codes: dict[int, float] = field(default_factory=lambda: dict(REST_CODES))
    stops: tuple[float, float] = STOP_CODES
    converter: Converter = Converter()
    microphone: Microphone = SOUND
    lines: tuple[Line, ...] = ()
    slow_noise_codes: float = 0.3
    seed: int = 0

    def codes(self, pressure: F32, first: int, input_: int) -> Codes:
        """What the converter delivers for a page of pressure (full scales of the low input) from sample `first` on."""
        rng = np.random.default_rng([self.seed, first, input_])
        wanted = self.microphone.heard(pressure) * np.float32(10 ** (self.step_db[input_] / 20))
        wanted += self._analogue_noise(len(pressure), first, input_)
        wanted *= np.float32(FULL_SCALE_CODES)
        wanted += np.float32(self.rest_codes[input_])
        np.clip(wanted, *self.stops, out=wanted)
        self._add_converter_noise(wanted, first, rng)
        return self.converter.convert(wanted)

    def own_noise(self, input_: int) -> float:
        """Rms over 30 to 80 kHz of all noise of its own that an input shows; a full-scale sine is 1."""
        converter = self.converter.noise_codes() / SINE_RMS_CODES * np.sqrt(BAND_SHARE)
        return float(np.hypot(self._analogue_rms(input_), converter))

    def _analogue_rms(self, input_: int) -> float:
        """The microphone's and the amplifiers' noise as this input shows it."""
        amplifiers = 10 ** (OPEN_NOISE_DBFS / 10)
        microphone = (10 ** (LIVE_NOISE_DBFS / 10) - amplifiers) * self.microphone.own_noise**2
        rms = np.sqrt(microphone + amplifiers)
        return float(rms * 10 ** ((self.step_db[input_] - self.step_db[INPUT_HIGH]) / 20))

    def _analogue_noise(self, count: int, first: int, input_: int) -> F32:
        """That noise, in full scales."""
        return cut("white", self.seed * 1_000_003 + first, count) * np.float32(self._analogue_rms(input_))

    def _add_converter_noise(self, codes: F32, first: int, rng: np.random.Generator) -> None:
        codes += rng.standard_normal(len(codes), dtype=np.float32) * np.float32(self.converter.noise_codes())
        if self.slow_noise_codes:
            codes += _slow(self.seed, first, len(codes)) * np.float32(self.slow_noise_codes)
        for line in self.lines:
            line.add_to(codes, first)


@lru_cache(maxsize=8)
def _knots(seed: int) -> F64:
    return np.random.default_rng([seed, KNOTS]).normal(0, 1, KNOTS)


def _slow(seed: int, first: int, count: int) -> F32:
    """Slow noise of the reference: values KNOT_SAMPLES apart, joined by straight lines, without a seam anywhere."""
    at = (first + np.arange(count)) / KNOT_SAMPLES
    whole = int(at[0])
    knots = _knots(seed)[np.arange(whole, int(at[-1]) + 2) % KNOTS]
    return np.interp(at - whole, np.arange(len(knots)), knots).astype(np.float32)


def drawn(rng: np.random.Generator, **different: object) -> Unit:
    """A sound copy with its own tolerances; `different` replaces fields."""
    built = frontend.drawn(rng)
    fields: dict[str, object] = {
        "step_db": step_db(built),
        "rest_codes": rest_codes(built),
        "stops": built.clip_codes(),
        "converter": Converter(
            float(rng.uniform(8.5, 9.2)), float(rng.uniform(1, 6)), bool(rng.uniform() < 0.3)
        ),
        "slow_noise_codes": float(rng.uniform(0, 1.0)),
        "seed": int(rng.integers(1 << 40)),
    }
    return Unit(**(fields | different))  # type: ignore[arg-type]
