"""When sounds come: a source repeats its events for ever on the tick axis."""

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from curbtick.yard.front_end.inputs import FloatArray
from curbtick.yard.front_end.timebase import ticks_of_ms, ticks_of_us
from curbtick.yard.sounds.waves import Wave

# A train's jitter and gaps repeat after so many bursts: at 30 ms, long after a reading is over.
EVENTS = 256
# Irregular sounds repeat after this time, longer than a reading lasts.
PERIOD_MS = 20_000.0


@dataclass(frozen=True)
class Fade:
    """A change of level at a moment on the tick axis: the probe slipped, or was put back.

    gain: factor on everything from that tick on; over_ticks: how long the change takes.
    """

    at_tick: int
    gain: float
    over_ticks: int

    def at(self, tick: int) -> float:
        """Return the factor at a tick."""
        share = min(1.0, max(0.0, (tick - self.at_tick) / max(1, self.over_ticks)))
        return float(self.gain**share)


@dataclass(frozen=True)
class Source:
    """Sounds of one origin: events at ticks within a period that repeats without end.

    name: what it is, for the truth.
    waves: the sounds that its events may have.
    ticks: when its events start, sorted, within 0..period_ticks.
    which: index into waves for each event.
    gains: factor on each event's wave; 0 for a burst that was due and not sent.
    period_ticks: after this all events repeat.
    delay_ticks: shifts all events (an echo is its source, later and weaker).
    gain: factor on all events.
    fade: a change of level on the absolute axis, None for none.
    longest_ticks: length of the longest wave.
    """

    name: str
    waves: tuple[Wave, ...]
    ticks: tuple[int, ...]
    which: tuple[int, ...]
    gains: tuple[float, ...]
    period_ticks: int
    delay_ticks: int = 0
    gain: float = 1.0
    fade: Fade | None = None
    longest_ticks: int = field(init=False)

    def __post_init__(self) -> None:
        longest = max((wave.ticks for wave in self.waves), default=0)
        object.__setattr__(self, "longest_ticks", longest)

    def due(self, start_tick: int, end_tick: int) -> Iterator[tuple[int, Wave, float]]:
        """Yield tick, wave and gain of every event that is due from start_tick up to end_tick, unsent ones included."""
        first = (start_tick - self.delay_ticks) // self.period_ticks
        last = (end_tick - 1 - self.delay_ticks) // self.period_ticks
        for cycle in range(first, last + 1):
            base = cycle * self.period_ticks + self.delay_ticks
            low = bisect_left(self.ticks, start_tick - base)
            high = bisect_left(self.ticks, end_tick - base)
            for index in range(low, high):
                tick = base + self.ticks[index]
                yield tick, self.waves[self.which[index]], self.gains[index] * self.gain_at(tick)

    def gain_at(self, tick: int) -> float:
        """Return the factor on all waves at a tick."""
        return self.gain if self.fade is None else self.gain * self.fade.at(tick)

    def sent(self, start_tick: int, end_tick: int) -> list[int]:
        """Return the ticks of the events really sent from start_tick up to end_tick."""
        return [tick for tick, _, gain in self.due(start_tick, end_tick) if gain > 0.0]

    def louder(self, by_db: float) -> "Source":
        """Return this source by_db stronger (weaker if negative)."""
        return replace(self, gain=self.gain * 10.0 ** (by_db / 20.0))

    def echo(self, delay_us: float, loss_db: float) -> "Source":
        """Return this source heard again later and weaker."""
        return replace(
            self,
            name=f"echo of {self.name}",
            delay_ticks=self.delay_ticks + ticks_of_us(delay_us),
            gain=self.gain * 10.0 ** (-loss_db / 20.0),
        )


def regular(
    waves: tuple[Wave, ...],
    random: np.random.Generator,
    *,
    name: str,
    interval_ms: float,
    phase_ms: float = 0.0,
    jitter_us: float = 20.0,
    missing: float = 0.0,
    pattern: tuple[int, ...] = (),
) -> Source:
    """Return a train: bursts every interval_ms from phase_ms on, the waves in turn.

    jitter_us: uniform, either way, of each burst (a control unit's scheduling); missing: share of bursts that are
    due and not sent, drawn one by one, unless a pattern of sent (1) and unsent (0) bursts is given.
    """
    kept = random.random(EVENTS) >= missing
    if pattern:
        kept = np.resize(np.array(pattern, dtype=bool), EVENTS)
    spread_us = random.uniform(-jitter_us, jitter_us, EVENTS)
    # The first event stays inside the period whatever its jitter.
    at_us = np.arange(EVENTS) * interval_ms * 1e3 + jitter_us + 1.0 + spread_us
    return Source(
        name=name,
        waves=waves,
        ticks=tuple(sorted(ticks_of_us(float(time_us)) for time_us in at_us)),
        which=tuple(i % len(waves) for i in range(EVENTS)),
        gains=tuple(float(sent) for sent in kept),
        period_ticks=ticks_of_ms(interval_ms * EVENTS),
        delay_ticks=ticks_of_ms(phase_ms),
    )


def irregular(
    name: str,
    waves: tuple[Wave, ...],
    times_ms: FloatArray,
    random: np.random.Generator,
    level_dbfs: float,
    *,
    spread_db: float,
    period_ms: float = PERIOD_MS,
) -> Source:
    """Return a source of events at times_ms (any order, within period_ms), each with one of the waves at random.

    level_dbfs: of the strongest (the waves' own level being 0 dBFS); spread_db: how far the weakest is below it.
    """
    weaker_db = random.uniform(0.0, spread_db, len(times_ms))
    return Source(
        name=name,
        waves=waves,
        ticks=tuple(ticks_of_ms(float(time_ms)) for time_ms in np.sort(times_ms)),
        which=tuple(int(i) for i in random.integers(0, len(waves), len(times_ms))),
        gains=tuple(float(gain) for gain in 10.0 ** (-weaker_db / 20.0)),
        period_ticks=ticks_of_ms(period_ms),
        gain=10.0 ** (level_dbfs / 20.0),
    )
