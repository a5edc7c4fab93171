"""What every scene of a bumper draws first: class, temperature, sensors and where they stand, the probe's copy."""

from dataclasses import dataclass, replace

import numpy as np
from curbtick_wire.classes import CLASSES_KHZ, CUSTOM

from tests.bench.otheryard.bumper.yardair import Ambient
from tests.bench.otheryard.front import unit as probe
from tests.bench.otheryard.kinds import Draft
from tests.bench.otheryard.physics.air import piston_loss_db
from tests.bench.otheryard.scene import Before
from tests.bench.otheryard.sensor.drive import Drive, tone
from tests.bench.otheryard.sensor.sensor import Collar, Sensor
from tests.bench.otheryard.sensor.transducer import Transducer, coupled
from tests.bench.otheryard.truth import BAND_DB, DEAD_DBFS, NEIGHBOUR_DBFS, PASS_DBFS, Truth, by_level
from tests.bench.otheryard.types import Source
from tests.bench.otheryard.vehicle import bumper, schedule
from tests.bench.otheryard.vehicle.bumper import Echo, Place
from tests.bench.otheryard.vehicle.schedule import Firing

# The middling healthy sensor at the low input, dBFS by class, and its spread: 99 of 100 stay 9.3 dB around it
# (hardware_notes/frontend_figures.md, tests.bench.chain).
HEALTHY_DBFS = {40: -7.7, 48: -10.3, 58: -13.2, 68: -15.7}
HEALTHY_SPREAD_DB, HEALTHY_MOST_DBFS = 3.2, -3.0
FACE_RADIUS_M = 0.007
# The collar shades a neighbour by at least 35 dB (DESIGN), and none comes nearer to what a neighbour may reach.
SHADE_LEAST_DB, SIBLING_MARGIN_DB = 35.0, 0.5
APART = 64
KNOWN_BEFORE = 0.35


@dataclass
class Setting:
    """The bumper, the air and the probe. `held` is the sensor in the collar; slots are `slot_s` long."""

    rng: np.random.Generator
    class_khz: int
    centre_hz: float
    temperature_c: float
    count: int
    held: int
    slot_s: float
    unit: probe.Unit

    @property
    def pass_dbfs(self) -> float:
        """The class's limit of PASS."""
        return PASS_DBFS[self.class_khz]

    def weak_level(self) -> float:
        """A level between the limits."""
        return float(self.rng.uniform(DEAD_DBFS + BAND_DB, self.pass_dbfs - BAND_DB))

    def by_level(self, held: Sensor, bursts: int = 8) -> Truth:
        """Truth of a held sensor that sends regularly, its frequency right."""
        return by_level(held.level_db(bursts), held.frequency_hz(8), self.class_khz)

    def healthy_level(self) -> float:
        """Level of a sound sensor: spread of the part, tilt of the hand, tolerance of the copy."""
        nominal = float(np.interp(self.centre_hz / 1e3, list(HEALTHY_DBFS), list(HEALTHY_DBFS.values())))
        angle_deg = abs(self.rng.normal(0, 4))
        tilt_db = piston_loss_db(FACE_RADIUS_M, angle_deg, self.centre_hz, self.temperature_c)
        level_dbfs = nominal + self.rng.normal(0, HEALTHY_SPREAD_DB) - tilt_db
        return float(np.clip(level_dbfs, self.pass_dbfs + BAND_DB, HEALTHY_MOST_DBFS))

    def frequency(self, spread_hz: float = 900.0) -> float:
        """A sound sensor's frequency: within 3 kHz of its class."""
        return self.centre_hz + float(np.clip(self.rng.normal(0, spread_hz), -3000, 3000))

    def transducer(self, frequency_hz: float, quality: float | None = None) -> Transducer:
        """Both resonances near the frequency; `quality` is the membrane's."""
        rng = self.rng
        membrane_q = quality or rng.uniform(14, 32)
        driver_hz = frequency_hz * rng.uniform(0.97, 1.03)
        membrane_hz = frequency_hz * (1 + rng.normal(0, 0.004))
        return coupled(driver_hz, rng.uniform(5, 10), membrane_hz, membrane_q, rng.uniform(0.02, 0.08))

    def sensor(
        self,
        level_dbfs: float,
        frequency_hz: float | None = None,
        drives: list[Drive] | None = None,
        quality: float | None = None,
    ) -> Sensor:
        """A sensor at a level; without drives a plain burst of 8 to 24 cycles."""
        rng, at_hz = self.rng, frequency_hz or self.frequency()
        made = Sensor(
            self.transducer(at_hz, quality),
            drives or [tone(at_hz, int(rng.integers(8, 25)))],
            collar=Collar(rng.uniform(280e-6, 300e-6), rng.uniform(31, 36)),
            jitter_db=rng.normal(0, rng.uniform(0.02, 0.25), APART),
            stretch=1 + rng.normal(0, 2e-4, APART),
        )
        made.set_level(level_dbfs, bursts=3)
        return made

    def siblings(self, held: Sensor | None, **like: object) -> list[Sensor | None]:
        """The bumper's sensors, all sound but the held one, which is given."""
        sensors: list[Sensor | None] = [
            self.sensor(self.healthy_level(), **like)  # type: ignore[arg-type]
            for _ in range(self.count)
        ]
        sensors[self.held] = held
        return sensors

    def places(self, sensors: list[Sensor | None], shade_most_db: float = 43.0) -> list[Place]:
        """Each sibling's distance along the bumper and its shading at the collar."""
        rng, spacing_m = self.rng, self.rng.uniform(0.35, 0.5)
        most_dbfs = NEIGHBOUR_DBFS[self.class_khz] - SIBLING_MARGIN_DB
        places = []
        for number, sensor in enumerate(sensors):
            away = abs(number - self.held)
            if number == self.held:
                places.append(Place(0.05, 0.0))
                continue
            shade_db = rng.uniform(SHADE_LEAST_DB + 1, shade_most_db) + 20 * np.log10(away)
            if sensor is not None:
                shade_db = max(shade_db, sensor.level_db(1) - most_dbfs)
            places.append(Place(spacing_m * away, shade_db))
        return places

    def turns(self) -> list[Firing]:
        """The plain scheduler: in turn."""
        return schedule.in_turn(self.rng, self.count, self.slot_s)

    def heard_before(self, firings: list[Firing], sensors: list[Sensor | None]) -> Before | None:
        """In a third of the readings a sibling has read PASS a minute ago: its values, from the same scheduler."""
        siblings = [n for n, sensor in enumerate(sensors) if n != self.held and sensor is not None]
        if not firings or not siblings or self.rng.uniform() > KNOWN_BEFORE:
            return None
        number = int(self.rng.choice(siblings))
        sibling, interval_s = sensors[number], schedule.interval_of(firings, number)
        if sibling is None or not interval_s:
            return None
        return Before("pass", sibling.level_db(1), sibling.frequency_hz(1), round(interval_s * 1e6))

    def draft(
        self,
        truth: Truth,
        firings: list[Firing],
        sensors: list[Sensor | None],
        more: tuple[Source, ...] = (),
        echoes: tuple[Echo, ...] = (),
        shade_most_db: float = 43.0,
    ) -> Draft:
        """Put a scene together: the bumper, the yard's air, whatever else sounds."""
        places = self.places(sensors, shade_most_db)
        heard = bumper.arrivals(firings, sensors, places, self.temperature_c, echoes, self.held)
        note = {"sensors": self.count, "held": self.held, "slot_ms": round(1e3 * self.slot_s, 2)}
        sources: list[Source] = [heard, Ambient.drawn(self.rng), *more]
        before = self.heard_before(firings, sensors)
        return Draft(self.class_khz, self.centre_hz, truth, sources, self.unit, before, note)

    def alone(self, truth: Truth, *more: Source) -> Draft:
        """A scene in which nothing of this vehicle sounds."""
        return self.draft(truth, [], [None] * self.count, more)


def drawn(
    rng: np.random.Generator,
    least: int = 2,
    most: int = 6,
    class_khz: int | None = None,
    unit: probe.Unit | None = None,
) -> Setting:
    """A bumper of `least` to `most` sensors, of any class unless one is asked."""
    khz = int(rng.choice(CLASSES_KHZ)) if class_khz is None else class_khz
    centre_hz = khz * 1000.0 if khz != CUSTOM else float(rng.integers(34, 76)) * 1000.0
    count = int(rng.integers(least, most + 1))
    return Setting(
        rng,
        khz,
        centre_hz,
        float(rng.uniform(-15, 40)),
        count,
        int(rng.integers(count)),
        float(rng.uniform(30e-3, 40e-3)),
        unit or probe.drawn(rng),
    )


def with_unit(setting: Setting, **different: object) -> Setting:
    """The same setting, its probe with other fields."""
    return replace(setting, unit=replace(setting.unit, **different))  # type: ignore[arg-type]
