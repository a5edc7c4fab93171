"""What the microphone could really hear at one position: the yard's truth, before anybody decides.

The truth knows the noise-free burst of the held sensor, when it was really sent, who else transmits, how
loud it was and what is wrong with the probe. What a verdict must be follows from it in judge.py.
"""

import math
from dataclasses import dataclass, field

from curbtick.yard.ear.ear import Ear
from curbtick.yard.front_end.timebase import TICKS_PER_MS, ticks_of_us
from curbtick.yard.sounds.measured import BurstTruth
from curbtick.yard.sounds.sources import Source

# A burst that starts this close to the end of a reading need not be in it.
UNFINISHED_MS = 1
NOISE_SLICE_US = 50_000.0


@dataclass(frozen=True)
class Window:
    """What a reading listened to, in microseconds on the ear's own axis."""

    start_us: float
    end_us: float

    @property
    def start_tick(self) -> int:
        """First tick of the reading."""
        return ticks_of_us(self.start_us)

    @property
    def end_tick(self) -> int:
        """Tick up to which a burst must start to be in the reading whole."""
        return ticks_of_us(self.end_us) - UNFINISHED_MS * TICKS_PER_MS


@dataclass(frozen=True)
class Heard:
    """A train in the collar: its source and the level of its bursts in dBFS on the low input."""

    source: Source = field(repr=False)
    level_dbfs: float

    def due(self, window: Window) -> int:
        """Return how many bursts were due in a window."""
        return sum(1 for _ in self.source.due(window.start_tick, window.end_tick))

    def sent_ticks(self, window: Window) -> list[int]:
        """Return when its bursts in a window were really sent."""
        return self.source.sent(window.start_tick, window.end_tick)


@dataclass(frozen=True)
class Truth:
    """All there is to know about one position's sounds.

    class_khz: the held sensor's class.
    interval_ms: of the vehicle's cycle.
    fault: of the held sensor (faults.SENSOR_FAULTS, or faults.NONE).
    ear: what the microphone gets.
    burst: the held sensor's burst on the low input, the median of its variants; None if it sends none.
    held: the held sensor's train, None if it sends none.
    siblings: the trains of the bumper's other sensors.
    imposters: names of the sounds that are not a sensor's.
    heard_before: whether this bumper had a PASS or WEAK earlier in the same visit.
    """

    class_khz: int
    interval_ms: float
    fault: str
    ear: Ear = field(repr=False)
    burst: BurstTruth | None = None
    held: Heard | None = None
    siblings: tuple[Heard, ...] = ()
    imposters: tuple[str, ...] = ()
    heard_before: bool = False

    @property
    def probe_fault(self) -> str:
        """The probe's own fault, "none" if it is healthy."""
        return self.ear.probe.fault

    @property
    def transmits(self) -> bool:
        """Whether any sensor of the bumper sends anything."""
        return self.held is not None or bool(self.siblings)

    @property
    def trains(self) -> tuple[Heard, ...]:
        """Every train of the bumper."""
        return self.siblings if self.held is None else (self.held, *self.siblings)

    def level_dbfs(self, window: Window) -> float:
        """Return the level of the held sensor's first burst in a window (minus infinity if it sends nothing)."""
        if self.held is None:
            return -math.inf
        fade = self.held.source.fade
        first_tick = next(iter(self.held.sent_ticks(window)), window.start_tick)
        gain = 1.0 if fade is None else fade.at(first_tick)
        return self.held.level_dbfs + 20.0 * math.log10(gain)

    def noise_dbfs(self, window: Window) -> float:
        """Return the rms over 30-80 kHz of what lasted, over the whole window."""
        return self.ear.noise_dbfs(window.start_us, window.end_us)

    def loudest_noise_dbfs(self, window: Window) -> float:
        """Return the rms over 30-80 kHz of what lasted, in the loudest 50 ms of a window."""
        slices = max(1, int((window.end_us - window.start_us) / NOISE_SLICE_US))
        starts = (window.start_us + i * NOISE_SLICE_US for i in range(slices))
        return max(self.ear.noise_dbfs(at, at + NOISE_SLICE_US) for at in starts)
