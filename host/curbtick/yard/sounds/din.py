"""The din of a yard, by name or drawn at random: what lasts, and what only sounds like something."""

import numpy as np

from curbtick.errors import InputError
from curbtick.yard.front_end.timebase import ticks_of_ms
from curbtick.yard.sounds import imposters
from curbtick.yard.sounds.noise import BANK, Broadband, Gusts, Layer, Spur
from curbtick.yard.sounds.sources import PERIOD_MS, Source

OFF_DB = -80.0


def _hiss_bursts(random: np.random.Generator, level_dbfs: float) -> Layer:
    """Air let out of brakes: hiss for 0.3 to 1.5 s, dying away, every few seconds."""
    starts = np.cumsum(random.uniform(2_000.0, 6_000.0, 3))
    times_ms, levels_db = [0.0], [OFF_DB]
    for start_ms in starts:
        length_ms = float(random.uniform(300.0, 1_500.0))
        times_ms += [start_ms, start_ms + 20.0, start_ms + length_ms, start_ms + length_ms + 50.0]
        levels_db += [OFF_DB, 0.0, -10.0, OFF_DB]
    ticks = tuple(ticks_of_ms(float(time_ms)) for time_ms in times_ms)
    gusts = Gusts(ticks, tuple(levels_db), ticks_of_ms(PERIOD_MS))
    return Broadband("hiss", level_dbfs, int(random.integers(BANK)), gusts)


def _wavering(random: np.random.Generator, kind: str, level_dbfs: float) -> Layer:
    """A noise whose loudness wanders by a few dB within a second."""
    count = 40
    ticks = tuple(ticks_of_ms(PERIOD_MS * i / count) for i in range(count))
    levels = tuple(float(level) for level in random.normal(0.0, 2.0, count))
    return Broadband(
        kind, level_dbfs, int(random.integers(BANK)), Gusts(ticks, levels, ticks_of_ms(PERIOD_MS))
    )


def _spurs(random: np.random.Generator) -> list[Layer]:
    base_hz = int(random.integers(20_000, 60_000))
    level_dbfs = float(random.uniform(-65.0, -42.0))
    gate = None
    if random.random() < 0.3:
        interval_ms = float(random.uniform(2.0, 15.0))
        gate = (interval_ms, interval_ms * float(random.uniform(0.1, 0.5)))
    return [
        Spur(base_hz * harmonic, level_dbfs - 8.0 * (harmonic - 1), gate)
        for harmonic in (1, 2, 3)
        if base_hz * harmonic < 120_000
    ]


def _lasting(random: np.random.Generator) -> tuple[list[Layer], list[Source]]:
    kind = str(random.choice(("tyre", "engine", "brake", "rain", "spurs")))
    if kind == "tyre":
        return [_wavering(random, "tyre", float(random.uniform(-58.0, -35.0)))], []
    if kind == "engine":
        ticks = imposters.injectors(random, float(random.uniform(-65.0, -42.0)))
        return [_wavering(random, "rumble", float(random.uniform(-88.0, -76.0)))], [ticks]
    if kind == "brake":
        return [_hiss_bursts(random, float(random.uniform(-50.0, -22.0)))], []
    if kind == "rain":
        pops = imposters.drops(random, float(random.uniform(-50.0, -25.0)))
        return [_wavering(random, "flat", float(random.uniform(-62.0, -45.0)))], [pops]
    return _spurs(random), []


def _passing(random: np.random.Generator) -> list[Source]:
    out: list[Source] = []
    if random.random() < 0.12:
        maker = imposters.keys if random.random() < 0.5 else imposters.footsteps
        out.append(maker(random, float(random.uniform(-50.0, -18.0))))
    if random.random() < 0.06:
        out.append(imposters.bat(random, float(random.uniform(-60.0, -10.0))))
    return out


def random_din(random: np.random.Generator) -> tuple[tuple[Layer, ...], tuple[Source, ...]]:
    """Draw what lasts and what passes: half of the time the yard is quiet but for passers-by."""
    layers: list[Layer] = []
    sources: list[Source] = []
    if random.random() < 0.5:
        for _ in range(int(random.integers(1, 3))):
            lasting, ticking = _lasting(random)
            layers += lasting
            sources += ticking
    return tuple(layers), (*sources, *_passing(random))


def _two_gusts(random: np.random.Generator) -> Gusts:
    """Air let out of brakes twice in twenty seconds, for about a second."""
    start_ms = float(random.uniform(0.0, 8_000.0))
    times_ms = (start_ms, start_ms + 30.0, start_ms + 900.0, start_ms + 1_000.0)
    ticks = [ticks_of_ms(time_ms + again) for again in (0.0, 10_000.0) for time_ms in times_ms]
    return Gusts(tuple(ticks), (-80.0, 0.0, -8.0, -80.0) * 2, ticks_of_ms(20_000.0))


def named_din(name: str, random: np.random.Generator) -> tuple[list[Layer], list[Source]]:
    """Return the sounds of one named din: tyres, engine, brakes, spurs, keys or footsteps. Raises InputError."""
    start = int(random.integers(BANK))
    if name == "tyres":
        return [Broadband("tyre", -54.0, start)], []
    if name == "engine":
        return [Broadband("rumble", -84.0, start)], [imposters.injectors(random, -56.0)]
    if name == "brakes":
        return [Broadband("hiss", -46.0, start, _two_gusts(random))], []
    if name == "spurs":
        return [Spur(int(random.integers(60_000, 64_000)), -58.0)], []
    if name in ("keys", "footsteps"):
        return [], [imposters.KINDS[name](random, -46.0)]
    raise InputError(f"There is no din called {name}.", "The demo was not started.", "Correct depot.json.")
