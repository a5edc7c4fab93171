"""A bumper as the probe hears it: the held sensor in the collar, its siblings past the rim, and echoes."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from tests.bench.otheryard.physics.air import speed_m_per_s
from tests.bench.otheryard.physics.level import RATE_HZ, amplitude
from tests.bench.otheryard.sensor.sensor import Sensor
from tests.bench.otheryard.types import F32, F64
from tests.bench.otheryard.vehicle.schedule import Firing

# No burst with its ringing is longer.
LONGEST_S = 0.1


@dataclass(frozen=True)
class Arrival:
    """A burst of `sensor` that reaches the probe at `at_s`, `gain` times as strong as in that sensor's own collar."""

    at_s: float
    sensor: Sensor
    burst: int
    gain: float


@dataclass(frozen=True)
class Echo:
    """An obstacle: it returns each burst of the held sensor `delay_s` later, `loss_db` weaker."""

    delay_s: float
    loss_db: float


@dataclass
class Arrivals:
    """A source: bursts at exact times. Waves are made when a page first asks for them."""

    arrivals: list[Arrival]
    _waves: dict[int, tuple[int, F64]] = field(default_factory=dict)
    _starts: F64 = field(default_factory=lambda: np.zeros(0))

    def add_to(self, page: F32, first: int) -> None:
        """Add every burst that touches the page."""
        if len(self._starts) != len(self.arrivals):
            self._starts = np.array([arrival.at_s * RATE_HZ for arrival in self.arrivals])
        near = (self._starts < first + len(page)) & (self._starts > first - LONGEST_S * RATE_HZ)
        for number in np.flatnonzero(near):
            add_wave(page, first, *self._wave(int(number)))

    def repeat(self, sensor: Sensor | None, echoes: list[Echo]) -> None:
        """Let obstacles return the bursts of one sensor."""
        own = [arrival for arrival in self.arrivals if arrival.sensor is sensor]
        self.arrivals += [
            Arrival(a.at_s + echo.delay_s, a.sensor, a.burst, a.gain * amplitude(-echo.loss_db))
            for a in own
            for echo in echoes
        ]

    def weaken(self, sensor: Sensor, when: Callable[[float], bool], loss_db: float) -> None:
        """Let the bursts of one sensor that arrive at such times lose some dB."""
        self.arrivals = [
            replace(a, gain=a.gain * amplitude(-loss_db)) if a.sensor is sensor and when(a.at_s) else a
            for a in self.arrivals
        ]

    def _wave(self, number: int) -> tuple[int, F64]:
        if number not in self._waves:
            arrival = self.arrivals[number]
            start = int(np.ceil(arrival.at_s * RATE_HZ))
            wave = arrival.sensor.wave(arrival.burst, start / RATE_HZ - arrival.at_s)
            self._waves[number] = start, wave * arrival.gain
        return self._waves[number]


def add_wave(page: F32, first: int, start: int, wave: F64 | F32) -> None:
    """Add a wave that begins at sample `start` to the page that begins at `first`, as far as they meet."""
    begin, end = max(first, start), min(first + len(page), start + len(wave))
    if begin < end:
        page[begin - first : end - first] += wave[begin - start : end - start]


@dataclass(frozen=True)
class Place:
    """Where a sensor of the bumper stands from the probe: metres away, and dB below its own collar level."""

    distance_m: float
    shade_db: float


def arrivals(
    firings: list[Firing],
    sensors: list[Sensor | None],
    places: list[Place],
    temperature_c: float,
    echoes: tuple[Echo, ...] = (),
    held: int = 0,
) -> Arrivals:
    """What reaches the probe: None is a sensor that sends nothing; the echoes are those of sensor `held`."""
    speed = speed_m_per_s(temperature_c)
    heard = []
    for firing in firings:
        sensor, place = sensors[firing.sensor], places[firing.sensor]
        if sensor is None:
            continue
        at_s, gain = firing.at_s + place.distance_m / speed, amplitude(-place.shade_db)
        heard.append(Arrival(at_s, sensor, firing.burst, gain))
    made = Arrivals(heard)
    made.repeat(sensors[held] if sensors else None, list(echoes))
    return made
