"""The probe itself: tolerances at their ends, hum and ripple, and faults that allow no verdict."""

from dataclasses import replace

import numpy as np
from curbtick.hardware import rails
from curbtick_wire.names import INPUT_LOW

from tests.bench.otheryard.bumper import setting
from tests.bench.otheryard.front import hum
from tests.bench.otheryard.front.converter import MISSING_CODE, Converter
from tests.bench.otheryard.front.microphone import DISCONNECTED, Microphone
from tests.bench.otheryard.front.unit import OUTPUTS, REST_CODES
from tests.bench.otheryard.kinds import Draft, Kinds, entered
from tests.bench.otheryard.physics.level import FULL_SCALE_CODES, decibel
from tests.bench.otheryard.truth import DEAD, FAULTY_PROBE, NOTHING_TRANSMITS, Truth, said
from tests.bench.otheryard.vehicle.bumper import Arrivals

KINDS: Kinds = {}
CLOGGED = "a clogged microphone: only the siblings' levels, over readings, can tell it from weak sensors"


def resting(code: float) -> dict[int, float]:
    """All inputs at rest at one code."""
    return dict.fromkeys(OUTPUTS, code)


def _any_state(rng: np.random.Generator, world: setting.Setting) -> Draft:
    """A sound, weak or dead sensor, or a silent vehicle, a quarter each: the probe's oddity must not matter."""
    state = int(rng.integers(4))
    if state == 3:
        return world.alone(NOTHING_TRANSMITS)
    held = None
    if state < 2:
        held = world.sensor(world.healthy_level() if state == 0 else world.weak_level())
    truth = DEAD if held is None else world.by_level(held)
    return world.draft(truth, world.turns(), world.siblings(held))


def _odd(rng: np.random.Generator, **fields: object) -> Draft:
    return _any_state(rng, setting.with_unit(setting.drawn(rng, least=3), **fields))


# The worst copy that the hardware's table allows.
WORST_LOW_STOP, WORST_TOP_STOP = rails.stop_range_codes()[0][1], rails.stop_range_codes()[1][0]


def _stopping(rng: np.random.Generator, stops: tuple[float, float], level_dbfs: float) -> Draft:
    """A loud sensor under a probe whose amplifiers stop there."""
    world = setting.with_unit(setting.drawn(rng), stops=stops)
    held = world.sensor(level_dbfs)
    return world.draft(world.by_level(held), world.turns(), world.siblings(held))


@entered(KINDS, "amplifiers that stop as early as the tolerances allow; sensors at -2 to 1 dBFS")
def early_stops(rng: np.random.Generator) -> Draft:
    return _stopping(rng, (WORST_LOW_STOP, WORST_TOP_STOP + rng.uniform(0, 10)), rng.uniform(-2, 1))


@entered(
    KINDS, "an amplifier that is worn or short of supply stops below half its swing, on one side or both"
)
def broken_stops(rng: np.random.Generator) -> Draft:
    """A sensor that sends at least 4 dB more than the amplifier gives, so that only RETRY is right."""
    reach = rng.uniform(500, 800, 2)
    side, rest = int(rng.integers(3)), REST_CODES[INPUT_LOW]
    low = WORST_LOW_STOP if side == 0 else rest - reach[0]
    top = WORST_TOP_STOP if side == 1 else rest + reach[1]
    world = setting.with_unit(setting.drawn(rng), stops=(low, top))
    held = world.sensor(decibel(max(reach) / FULL_SCALE_CODES) + rng.uniform(4, 5))
    return world.draft(FAULTY_PROBE, world.turns(), world.siblings(held))


@entered(KINDS, "a noisy converter: 7.3 to 8.3 effective bits")
def low_enob(rng: np.random.Generator) -> Draft:
    return _odd(rng, converter=Converter(rng.uniform(7.3, 8.3), rng.uniform(1, 6)))


@entered(KINDS, "mains hum of 20 to 300 codes at every input")
def mains_hum(rng: np.random.Generator) -> Draft:
    return _odd(rng, lines=tuple(hum.mains(rng, 10 ** rng.uniform(1.3, 2.48))))


@entered(
    KINDS, "the probe's own supply: ripple of 25 to 60 kHz, -75 to -58 dBFS, and slow noise of the reference"
)
def supply_ripple(rng: np.random.Generator) -> Draft:
    lines = tuple(hum.ripple(rng, rng.uniform(-75, -58)))
    return _odd(rng, lines=lines, slow_noise_codes=rng.uniform(1, 6))


@entered(
    KINDS, "steps: wide codes of 6 to 10 LSB, code 2047 missing, and the inputs rest 15 to 40 codes beside it"
)
def bad_steps(rng: np.random.Generator) -> Draft:
    moved = rng.choice([-1, 1]) * rng.uniform(15, 40)
    return _odd(
        rng,
        converter=Converter(8.7, rng.uniform(6, 10), missing=True),
        rest_codes=resting(MISSING_CODE + moved),
    )


@entered(KINDS, "the hand moves: the level swings by 1 to 3 dB within the reading")
def unsteady_hand(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    held = world.sensor(-9.0)
    held.jitter_db = rng.uniform(0.5, 1.5) * np.sin(np.arange(setting.APART) * rng.uniform(0.1, 1.0))
    held.set_level(max(world.healthy_level(), world.pass_dbfs + 4.0))
    return world.draft(world.by_level(held), world.turns(), world.siblings(held))


@entered(KINDS, "the collar sits only 0.2 to 0.7 s into the reading; 12 to 25 dB less before: PASS or RETRY")
def seated_late(rng: np.random.Generator) -> Draft:
    return _moved(rng, rng.uniform(0.2, 0.7), late=True)


@entered(KINDS, "the collar is lifted 0.4 to 1.0 s into the reading; 12 to 25 dB less after: PASS or RETRY")
def lifted_early(rng: np.random.Generator) -> Draft:
    return _moved(rng, rng.uniform(0.4, 1.0), late=False)


def _moved(rng: np.random.Generator, change_s: float, late: bool) -> Draft:
    world = setting.drawn(rng)
    held = world.sensor(world.healthy_level())
    truth = Truth(
        said("pass", "retry"), must_not=said("dead", "weak"), sound=True, level_dbfs=held.level_db(8)
    )
    draft = world.draft(truth, world.turns(), world.siblings(held))
    heard = draft.sources[0]
    assert isinstance(heard, Arrivals)
    heard.weaken(held, lambda at_s: (at_s < change_s) == late, rng.uniform(12, 25))
    return draft


def _faulty(rng: np.random.Generator, microphone: Microphone, truth: Truth, **fields: object) -> Draft:
    """A probe whose microphone is not what it should be, held to any sensor."""
    world = setting.with_unit(setting.drawn(rng), microphone=microphone, **fields)
    held = world.sensor(world.healthy_level()) if rng.uniform() < 0.6 else None
    firings = world.turns() if rng.uniform() < 0.8 else []
    return world.draft(truth, firings, world.siblings(held))


@entered(KINDS, "the microphone's wire is off, with or without hum in it")
def microphone_open(rng: np.random.Generator) -> Draft:
    lines = tuple(hum.mains(rng, rng.uniform(5, 100))) if rng.uniform() < 0.5 else ()
    return _faulty(rng, DISCONNECTED, FAULTY_PROBE, lines=lines)


@entered(KINDS, "the microphone is shorted: the bias 20 to 60 codes off, nothing heard")
def microphone_shorted(rng: np.random.Generator) -> Draft:
    return _faulty(rng, DISCONNECTED, FAULTY_PROBE, rest_codes=resting(REST_CODES[0] - rng.uniform(20, 60)))


@entered(KINDS, "a half deaf microphone: signal and own noise 14 to 26 dB down")
def microphone_half_deaf(rng: np.random.Generator) -> Draft:
    gain = float(10 ** (-rng.uniform(14, 26) / 20))
    return _faulty(rng, Microphone(gain, gain), FAULTY_PROBE)


@entered(KINDS, "a clogged port: sound 10 to 25 dB down, the microphone's own noise as ever")
def microphone_clogged(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    loss_db = rng.uniform(10, 25)
    world = setting.with_unit(world, microphone=Microphone(float(10 ** (-loss_db / 20)), 1.0))
    held = world.sensor(world.healthy_level())
    truth = Truth(said("retry", "weak"), must_not=said("dead"), apart=CLOGGED)
    if held.level_db(8) - loss_db >= world.pass_dbfs - 1.5:
        truth = replace(truth, accepted=said("pass"))
    return world.draft(replace(truth, level_dbfs=held.level_db(8)), world.turns(), world.siblings(held))
