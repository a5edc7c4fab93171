"""Scenes of the seal and hiss checks: what the probe hears in each part, and the verdict that is right.

    scene = leaks.SEAL_SCENES["worn_corner"](seed=1)
    found = run_scene(scene)                        # the JSON object of replay, through the real firmware
    assert found["verdict"] == scene.verdict

Levels are dBFS of the high input at 50 kHz, where the microphone's own noise is frontend.MICROPHONE_NOISE_DBFS over
30-80 kHz. How loud a seal's gap or a leak is at the probe varies so much that the levels are chosen, not computed: a
free reference near -20 dBFS, gaps and hiss so many dB from it or above the background (common practice).
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from curbtick_wire.names import INPUT_HIGH, INPUT_LOW
from curbtick_wire.sampling import TONE_HZ

from curbtick.yard.ear.ear import Ear
from curbtick.yard.front_end.inputs import INPUTS, MICROPHONE_NOISE_DBFS, Volts
from curbtick.yard.front_end.timebase import TICKS_PER_SAMPLE, ticks_of_ms
from curbtick.yard.sounds.noise import BANK, Broadband, Gusts, Layer, Spur

HIGH_GAIN_DB = INPUTS[INPUT_HIGH].gain_db - INPUTS[INPUT_LOW].gain_db
REFERENCE_DBFS = -20.0
# Updates of each part: a reference, a section walked in 4 s, the background as the probe takes it.
UPDATES = {"before": 6, "section": 20, "after": 6}
HISS_UPDATES = {"before": 35, "section": 15}

Random = np.random.Generator


@dataclass(frozen=True)
class Passing:
    """A layer whose level changes as the probe passes: points (ms after the part's start, dB) joined in dB."""

    layer: Layer
    times_ms: tuple[float, ...]
    levels_db: tuple[float, ...]
    start_tick: int = 0

    def _gains(self, start_tick: int, count: int) -> npt.NDArray[np.float32]:
        ticks = start_tick - self.start_tick + TICKS_PER_SAMPLE * np.arange(count)
        levels_db = np.interp(ticks, [ticks_of_ms(time_ms) for time_ms in self.times_ms], self.levels_db)
        gains: npt.NDArray[np.float32] = (10.0 ** (levels_db / 20.0)).astype(np.float32)
        return gains

    def add_to(self, block: Volts, start_tick: int, input_: int) -> None:
        """Add the sound to a block of samples that starts at a tick."""
        own = np.zeros_like(block)
        self.layer.add_to(own, start_tick, input_)
        block += own * self._gains(start_tick, len(block))

    def band_power(self, start_tick: int, end_tick: int) -> float:
        """Return its mean power over 30-80 kHz on the low input, in codes squared."""
        count = max(1, (end_tick - start_tick) // TICKS_PER_SAMPLE)
        share = float(np.mean(self._gains(start_tick, count).astype(np.float64) ** 2))
        return self.layer.band_power(start_tick, end_tick) * share


class FromTheStart:
    """An ear that is asked for its own time: its first sample is at time 0, whenever it is heard."""

    def __init__(self, ear: Ear) -> None:
        self._ear = ear
        self._start_us: float | None = None

    def read(self, count: int, input: int, start_us: int) -> npt.NDArray[np.uint16]:
        """Return samples, as bus.Ear says."""
        if self._start_us is None:
            self._start_us = start_us
        return self._ear.read(count, input, start_us - self._start_us)


@dataclass(frozen=True)
class LeakScene:
    """A section of a check: its parts' ears, and the truth.

    check: "seal" or "hiss"; parts: "before", "section" and, for a seal, "after"; verdict: the right one; below_db: the
    loudest point's level below the reference, where that is the truth.
    """

    name: str
    check: str
    parts: Mapping[str, tuple[Layer, ...]]
    verdict: str
    seed: int
    below_db: float | None = None

    def ears(self) -> dict[str, FromTheStart]:
        """Fresh ears for every part."""
        return {
            part: FromTheStart(Ear(layers=layers, seed=self.seed + n))
            for n, (part, layers) in enumerate(self.parts.items())
        }


def _low(level_dbfs: float) -> float:
    """A level of the high input as one of the low input, which the layers know."""
    return level_dbfs - HIGH_GAIN_DB


def _random(seed: int) -> Random:
    return np.random.default_rng(seed)


def _shop(random: Random, level_dbfs: float = -38.0) -> Broadband:
    """A workshop's noise: steep, so that it is loud at the tone and faint above 30 kHz."""
    return Broadband("tyre", _low(level_dbfs), int(random.integers(BANK)))


def _tone(random: Random, level_dbfs: float) -> Spur:
    """The source, up to 0.3 % off its nominal frequency, so loud at the probe (its response taken off)."""
    offset_hz = int(random.integers(-45, 46))
    return Spur(TONE_HZ + offset_hz, _low(level_dbfs))


def _seal(
    name: str, seed: int, below_db: float, width_ms: float, verdict: str, floor_db: float = 45.0
) -> LeakScene:
    """A section in which the tone is below_db under the reference at its loudest, over so long a passage."""
    random = _random(seed)
    shop, source = _shop(random), _tone(random, REFERENCE_DBFS)
    middle_ms = float(random.uniform(1500.0, 2500.0))
    times_ms = (
        0.0,
        middle_ms - width_ms,
        middle_ms - width_ms / 3,
        middle_ms + width_ms / 3,
        middle_ms + width_ms,
    )
    levels_db = (-floor_db, -floor_db, -below_db, -below_db, -floor_db)
    heard = Passing(source, times_ms, levels_db)
    free: tuple[Layer, ...] = (shop, source)
    return LeakScene(
        name,
        "seal",
        {"before": free, "section": (shop, heard), "after": free},
        verdict,
        seed,
        below_db=below_db,
    )


def tight_seal(seed: int) -> LeakScene:
    """A good seal: the tone 38 dB down everywhere."""
    return _seal("tight_seal", seed, 38.0, 600.0, "tight")


def gap(seed: int) -> LeakScene:
    """A door with a gap: 12 dB down over a hand's width."""
    return _seal("gap", seed, 12.0, 700.0, "leak")


def unlatched_door(seed: int) -> LeakScene:
    """A door that is not latched: 5 dB down along most of the section."""
    return _seal("unlatched_door", seed, 5.0, 1400.0, "leak")


def worn_corner(seed: int) -> LeakScene:
    """A worn corner: 19 dB down, and narrow."""
    return _seal("worn_corner", seed, 19.0, 450.0, "leak")


def stopped_source(seed: int) -> LeakScene:
    """A source that stopped after the reference: no verdict, however quiet the seal."""
    random = _random(seed)
    shop, source = _shop(random), _tone(random, REFERENCE_DBFS)
    parts: dict[str, tuple[Layer, ...]] = {"before": (shop, source), "section": (shop,), "after": (shop,)}
    return LeakScene("stopped_source", "seal", parts, "retry", seed)


def _hiss(
    name: str,
    seed: int,
    verdict: str,
    sound: tuple[Layer, ...],
    background: tuple[Layer, ...] = (),
) -> LeakScene:
    parts = {"before": background, "section": (*background, *sound)}
    return LeakScene(name, "hiss", parts, verdict, seed)


def _leak(random: Random, level_dbfs: float) -> Broadband:
    return Broadband("hiss", _low(level_dbfs), int(random.integers(BANK)))


def quiet_fitting(seed: int) -> LeakScene:
    """A tight fitting: nothing but the place and the microphone."""
    return _hiss("quiet_fitting", seed, "quiet", (), (_shop(_random(seed), -50.0),))


def slow_puncture(seed: int) -> LeakScene:
    """A slow puncture a hand away: it all but doubles the microphone's noise."""
    return _hiss("slow_puncture", seed, "hiss", (_leak(_random(seed), MICROPHONE_NOISE_DBFS - 2.0),))


def air_brake_fitting(seed: int) -> LeakScene:
    """A leaking fitting of the air brakes: some 15 dB over the microphone's noise."""
    return _hiss("air_brake_fitting", seed, "hiss", (_leak(_random(seed), MICROPHONE_NOISE_DBFS + 15.0),))


def whistle(seed: int) -> LeakScene:
    """A valve that whistles: a tone, and no hiss."""
    hz = int(_random(seed).integers(24_000, 44_000))
    return _hiss("whistle", seed, "tone", (Spur(hz, _low(-30.0)),))


def compressor(seed: int) -> LeakScene:
    """A compressor beside: steady noise and tones in the background too, and a leak that stands above it."""
    random = _random(seed)
    background: tuple[Layer, ...] = (
        Broadband("tyre", _low(-33.0), int(random.integers(BANK))),
        Spur(21_000, _low(-45.0)),
        Spur(36_000, _low(-50.0)),
    )
    return _hiss("compressor", seed, "hiss", (_leak(random, -28.0),), background)


def gusts(seed: int) -> LeakScene:
    """Gusts of wind on the microphone: too unsteady to decide."""
    random = _random(seed)
    count = 24
    ticks = np.sort(random.integers(0, ticks_of_ms(12_000.0), count))
    levels_db = random.uniform(-25.0, 0.0, count)
    wind = Gusts(
        tuple(int(tick) for tick in ticks), tuple(float(level) for level in levels_db), ticks_of_ms(12_000.0)
    )
    return _hiss(
        "gusts", seed, "retry", (), (Broadband("flat", _low(-18.0), int(random.integers(BANK)), wind),)
    )


SEAL_SCENES: dict[str, Callable[[int], LeakScene]] = {
    "tight_seal": tight_seal,
    "gap": gap,
    "unlatched_door": unlatched_door,
    "worn_corner": worn_corner,
    "stopped_source": stopped_source,
}
HISS_SCENES: dict[str, Callable[[int], LeakScene]] = {
    "quiet_fitting": quiet_fitting,
    "slow_puncture": slow_puncture,
    "air_brake_fitting": air_brake_fitting,
    "whistle": whistle,
    "compressor": compressor,
    "gusts": gusts,
}
SCENES = {**SEAL_SCENES, **HISS_SCENES}
