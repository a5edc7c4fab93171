"""The population of the yard benchmark: what a depot's readings are like, drawn from one seed.

Shares are of readings. Everything not said to be a source's figure is an assumption, chosen to be hard:

- what is held: healthy 48 %, a fault 40 % (kinds below), nobody transmitting 4 %, the probe itself faulty 5 %, the
  probe slipping off a healthy sensor 3 %;
- an intermittent sensor leaves out 25 to 70 % of its bursts, three in ten of them in a pattern of 3 to 7 bursts;
- class: each a quarter; resonance: normal around the class, sigma 1 kHz, one in five anywhere within 5 kHz
  (published: 48 +/- 5 kHz); drive 4 to 20 cycles; tau 60 to 350 us (45 to 80 us where it must follow a changing
  drive); one in ten sweeps by 2 to 6 kHz, one in ten varies its frequency from burst to burst by up to 2 kHz;
- level: nominal +/- 1.7 dB (sigma, cut at 4), then the seat: 45-60 mm, aim to 10 degrees, the day's air;
- interval: 160-220 ms 60 %, 60-160 ms 18 %, 220-300 ms 14 %, 30-60 ms and 300-495 ms 4 % each;
- siblings: 4 or 6 positions, some 2; shaded by 35 to 50 dB, farther ones weaker; 4 % of them dead; one to three
  echoes 2 to 25 ms later and 6 to 25 dB weaker; the held sensor's own echo 35 to 55 dB down;
- noise: half quiet; else one or two of tyre hiss, rumble with injector ticks, air-brake hiss in gusts, rain, supply
  spurs; 12 % with keys or footsteps; 6 % with a bat, up to -10 dBFS.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from curbtick_wire.classes import CLASSES_KHZ

from curbtick.yard.air.collar import held_dbfs, neighbour_dbfs, random_inside, random_seat
from curbtick.yard.air.weather import random_air
from curbtick.yard.ear import faults
from curbtick.yard.ear.faults import Fault
from curbtick.yard.ear.probe_state import PROBE_FAULTS, ProbeState
from curbtick.yard.front_end.timebase import ticks_of_ms, ticks_of_us
from curbtick.yard.scenes.build import Echo, Neighbour, Recipe, Scene, build
from curbtick.yard.sounds.din import random_din
from curbtick.yard.sounds.sensors import Sensor
from curbtick.yard.sounds.sources import Fade

# Most systems are taken to repeat every 160 to 220 ms; the rest covers what a limit set allows, 30 to 500 ms.
INTERVALS_MS = ((160.0, 220.0), (60.0, 160.0), (220.0, 300.0), (30.0, 60.0), (300.0, 495.0))
INTERVAL_SHARES = (0.60, 0.18, 0.14, 0.04, 0.04)
# Far more faults than a depot has: the benchmark needs many of each kind to bound its misses.
SITUATIONS = ("healthy", "fault", "system_off", "probe", "moved")
SITUATION_SHARES = (0.48, 0.40, 0.04, 0.05, 0.03)
# Silence and loss of level are taken for the usual faults; the others are rarer, but often enough to count.
FAULT_SHARES = {
    "dead": 0.28,
    "weak": 0.26,
    "off_frequency": 0.12,
    "long_ringing": 0.05,
    "short_ringing": 0.03,
    "intermittent": 0.12,
    "painted": 0.07,
    "iced": 0.07,
}
# The first place farther doubles the distance, which is 6 dB; those beyond it add less.
NEIGHBOUR_STEP_DB = 5.0
# What a moved resonance may come to: within the band that the probe measures.
LOWEST_HZ, HIGHEST_HZ = 32_000.0, 78_500.0


def random_sensor(random: np.random.Generator, class_khz: int) -> Sensor:
    """Draw a healthy sensor of a class."""
    # One in five is built far from its class, up to the published 5 kHz; the others scatter about it.
    shift = (
        random.uniform(-5e3, 5e3) if random.random() < 0.2 else np.clip(random.normal(0.0, 1e3), -5e3, 5e3)
    )
    sensor = Sensor(
        class_khz,
        resonance_hz=class_khz * 1e3 + float(shift),
        cycles=int(random.integers(4, 21)),
        # The -6 dB bandwidth of 40 kHz parts is near 2 kHz, which is tau = 280 us; higher classes are broader.
        decay_us=float(random.uniform(150.0, 350.0) if class_khz == 40 else random.uniform(60.0, 300.0)),
    )
    # A membrane follows a drive that changes its frequency only if it is well damped.
    style = random.random()
    if style < 0.1:
        sweep_hz = float(random.choice((-1.0, 1.0)) * random.uniform(2e3, 6e3))
        return replace(sensor, sweep_hz=sweep_hz, decay_us=float(random.uniform(45.0, 80.0)), cycles=20)
    if style < 0.2:
        offsets = tuple(float(offset) for offset in random.uniform(-2e3, 2e3, 4))
        return replace(sensor, offsets_hz=offsets, decay_us=float(random.uniform(45.0, 80.0)))
    return sensor


def _off_frequency(random: np.random.Generator, sensor: Sensor) -> Fault:
    # From the edge of the factory windows outwards; the side that leaves the band is turned over.
    shift_hz = float(random.choice((-1.0, 1.0)) * random.uniform(6.5e3, 11e3))
    target_hz = sensor.class_khz * 1e3 + shift_hz
    if not LOWEST_HZ <= target_hz <= HIGHEST_HZ:
        target_hz = sensor.class_khz * 1e3 - shift_hz
    return faults.off_frequency(target_hz - sensor.resonance_hz)


def _intermittent(random: np.random.Generator) -> Fault:
    # A quarter missing is the factory limit; above 70 % too few bursts are left to measure.
    missing = float(random.uniform(0.25, 0.7))
    if random.random() < 0.7:
        return faults.intermittent(missing)
    length = int(random.integers(3, 8))
    pattern = np.ones(length, dtype=int)
    pattern[random.permutation(length)[: max(1, round(missing * length))]] = 0
    return faults.intermittent(missing, tuple(int(sent) for sent in pattern))


def random_fault(random: np.random.Generator, sensor: Sensor) -> Fault:
    """Draw a sensor's fault, its strength included."""
    kind = str(random.choice(list(FAULT_SHARES), p=list(FAULT_SHARES.values())))
    # Losses run from well above the pass limit's margin to below the dead limit, so that both limits are tried.
    makers: dict[str, Callable[[], Fault]] = {
        "dead": lambda: faults.DEAD,
        "weak": lambda: faults.weak(float(random.uniform(8.0, 48.0))),
        "off_frequency": lambda: _off_frequency(random, sensor),
        "long_ringing": lambda: faults.long_ringing(float(random.uniform(1700.0, 2500.0))),
        "short_ringing": faults.short_ringing,
        "intermittent": lambda: _intermittent(random),
        "painted": lambda: faults.painted(float(random.uniform(6.0, 20.0))),
        "iced": lambda: faults.iced(float(random.uniform(12.0, 32.0))),
    }
    return makers[kind]()


def random_interval_ms(random: np.random.Generator) -> float:
    """Draw a vehicle's cycle time."""
    low, high = INTERVALS_MS[int(random.choice(len(INTERVALS_MS), p=INTERVAL_SHARES))]
    return float(random.uniform(low, high))


def random_deviation_db(random: np.random.Generator) -> float:
    """Draw by how much a healthy sensor is stronger than nominal."""
    # An assumed scatter of one type; what lies beyond 4 dB is taken to be sorted out by its maker.
    return float(np.clip(random.normal(0.0, 1.7), -4.0, 4.0))


def _echoes(random: np.random.Generator) -> tuple[Echo, ...]:
    # From 0.35 m, the ground, to 4 m, the next vehicle, and weaker than the direct sound by at least 6 dB.
    return tuple(
        Echo(float(random.uniform(2e3, 25e3)), float(random.uniform(6.0, 25.0)))
        for _ in range(random.integers(1, 4))
    )


def random_neighbours(random: np.random.Generator, sensor: Sensor) -> tuple[Neighbour, ...]:
    """Draw the siblings of a held sensor: they fire in turn, each at its distance."""
    positions = int(random.choice((4, 6, 2), p=(0.6, 0.3, 0.1)))
    held = int(random.integers(positions))
    shading_db = float(random.uniform(35.0, 50.0))
    other = random_sensor(random, sensor.class_khz)
    alike = replace(other, sweep_hz=0.0, offsets_hz=(0.0,))
    out = []
    for position in range(positions):
        if position == held or random.random() < 0.04:
            continue
        farther_db = NEIGHBOUR_STEP_DB * (abs(position - held) - 1) + float(random.uniform(0.0, 4.0))
        level_dbfs = neighbour_dbfs(random_deviation_db(random), shading_db, farther_db)
        slot = ((position - held) % positions) / positions
        out.append(Neighbour(alike, level_dbfs, slot, echoes=_echoes(random)))
    return tuple(out)


def _probe(random: np.random.Generator) -> ProbeState:
    fault = str(random.choice([name for name in PROBE_FAULTS if name != "none"]))
    # Below the factory limit of 3,300 mV; 3,900 mV are three fresh cells.
    return ProbeState(fault, battery_mv=int(random.integers(2900, 3200)) if fault == "battery_low" else 3900)


def _slip(random: np.random.Generator, start_us: int) -> Fade:
    # While the reading listens, and by more than a healthy sensor varies; a hand slips within 5 to 60 ms.
    at_tick = ticks_of_us(start_us) + ticks_of_ms(float(random.uniform(150.0, 700.0)))
    loss_db = float(random.uniform(8.0, 30.0))
    return Fade(at_tick, 10.0 ** (-loss_db / 20.0), ticks_of_ms(float(random.uniform(5.0, 60.0))))


def _healthy(random: np.random.Generator) -> Recipe:
    sensor = random_sensor(random, int(random.choice(CLASSES_KHZ)))
    air, seat = random_air(random), random_seat(random)
    interval_ms = random_interval_ms(random)
    layers, imposters = random_din(random)
    return Recipe(
        sensor,
        held_dbfs(random_deviation_db(random), sensor.resonance_hz, seat, air),
        interval_ms=interval_ms,
        phase_ms=float(random.uniform(0.0, interval_ms)),
        jitter_us=float(random.uniform(5.0, 50.0)),
        echoes=(Echo(float(random.uniform(2e3, 20e3)), float(random.uniform(35.0, 55.0))),),
        neighbours=random_neighbours(random, sensor),
        air=air,
        seat=seat,
        inside=random_inside(random),
        layers=layers,
        imposters=imposters,
        heard_before=bool(random.random() < 0.3),
        start_us=int(random.integers(0, 10_000_000)),
    )


def random_recipe(seed: int) -> Recipe:
    """Draw one reading's recipe."""
    random = np.random.default_rng((seed, 1))
    recipe = _healthy(random)
    situation = str(random.choice(SITUATIONS, p=SITUATION_SHARES))
    if situation == "fault":
        return replace(recipe, fault=random_fault(random, recipe.sensor))
    if situation == "system_off":
        return replace(recipe, fault=faults.DEAD, neighbours=(), heard_before=False)
    if situation == "probe":
        broken = replace(recipe, probe=_probe(random))
        return replace(broken, fault=random_fault(random, recipe.sensor)) if random.random() < 0.5 else broken
    if situation == "moved":
        return replace(recipe, fade=_slip(random, recipe.start_us))
    return recipe


def random_scene(seed: int) -> Scene:
    """Draw one reading of the benchmark's population; the same seed gives the same sounds."""
    return build(random_recipe(seed), seed)
