"""Kinds of the hiss check in which nothing leaks, or nothing can be said."""

import numpy as np

from tests.bench.otheryard.foreign.air import air_brake
from tests.bench.otheryard.foreign.bodies import keys, rain
from tests.bench.otheryard.foreign.devices import pest_repeller
from tests.bench.otheryard.foreign.electric import lamp_driver
from tests.bench.otheryard.front import unit as probe
from tests.bench.otheryard.front.microphone import DISCONNECTED
from tests.bench.otheryard.front.unit import HIGH_OVER_LOW_DB
from tests.bench.otheryard.jet import flow, shift
from tests.bench.otheryard.jet.shift import (
    ONLY_RETRY,
    QUIET,
    QUIET_OR_RETRY,
    RESTLESS,
    Shift,
)
from tests.bench.otheryard.kinds import Kinds, entered
from tests.bench.otheryard.story import Tale
from tests.bench.otheryard.truth import Truth, said

KINDS: Kinds = {}
NO_LEAK = "a hiss from elsewhere that begins within the section: no listener can tell it from a leak"


def _quiet(rng: np.random.Generator, seconds: float) -> Tale:
    work = shift.drawn(rng)
    work.section(QUIET, seconds)
    return work.tale()


@entered(KINDS, "nothing leaks, steady noise, a section of 10 s")
def quiet_10(rng: np.random.Generator) -> Tale:
    return _quiet(rng, 10.0)


@entered(KINDS, "nothing leaks, steady noise, a section of 30 s")
def quiet_30(rng: np.random.Generator) -> Tale:
    return _quiet(rng, 30.0)


@entered(KINDS, "nothing leaks, steady noise, a section of 60 s")
def quiet_60(rng: np.random.Generator) -> Tale:
    return _quiet(rng, 60.0)


@entered(KINDS, "nothing leaks, steady noise, three sections of 3 to 6 s")
def quiet_three(rng: np.random.Generator) -> Tale:
    work = shift.drawn(rng)
    for _ in range(3):
        work.section(QUIET, rng.uniform(3, 6))
    return work.tale()


def _wander(rng: np.random.Generator, depth_db: float, truth: Truth) -> Tale:
    work = Shift(rng, rng.uniform(-38, -28))
    work.section(truth, rng.uniform(5, 10))
    return work.tale(background=flow.wandering(rng, work.ambient_rms, depth_db, 10 ** rng.uniform(-1, 0.5)))


@entered(KINDS, "nothing leaks, the background wanders by 0.05 to 0.15 dB (standard deviation)")
def wanders_little(rng: np.random.Generator) -> Tale:
    return _wander(rng, rng.uniform(0.05, 0.15), QUIET_OR_RETRY)


@entered(KINDS, "nothing leaks, the background wanders by 0.15 to 1 dB")
def wanders(rng: np.random.Generator) -> Tale:
    return _wander(rng, rng.uniform(0.15, 1.0), QUIET_OR_RETRY)


@entered(KINDS, "nothing leaks, the background wanders by 1 to 3 dB")
def wanders_much(rng: np.random.Generator) -> Tale:
    return _wander(rng, rng.uniform(1, 3), RESTLESS)


@entered(KINDS, "nothing leaks, gusts of wind of 3 to 10 dB from the first second on")
def windy(rng: np.random.Generator) -> Tale:
    work = Shift(rng, rng.uniform(-38, -28))
    work.section(RESTLESS, rng.uniform(5, 10))
    return work.tale(background=flow.gusts(rng, work.ambient_rms, rng.uniform(3, 10), rng.uniform(0.5, 1.5)))


@entered(KINDS, "nothing leaks, a compressor runs all the time, 8 to 15 strokes a second")
def compressor_runs(rng: np.random.Generator) -> Tale:
    work = Shift(rng, rng.uniform(-38, -28))
    work.section(QUIET_OR_RETRY, rng.uniform(5, 10))
    return work.tale(background=flow.beating(work.ambient_rms, rng.uniform(8, 15), rng.uniform(0.2, 0.9)))


@entered(KINDS, "nothing leaks, the compressor stops after the background was taken")
def compressor_stops(rng: np.random.Generator) -> Tale:
    work = Shift(rng, rng.uniform(-38, -28))
    begin_s, _ = work.section(QUIET_OR_RETRY, rng.uniform(5, 10))
    stop_s, rms = begin_s + rng.uniform(0.5, 3), work.ambient_rms
    low = rms * 10 ** (-rng.uniform(2, 8) / 20)
    return work.tale(background=lambda at_s: np.where(at_s < stop_s, rms, low))


FROM_ELSEWHERE = Truth(said("retry", "hiss"), must_not=said("quiet"), apart=NO_LEAK)


@entered(KINDS, "a compressor starts in the section, 3 to 10 dB, and stays on: HISS or RETRY, counted apart")
def compressor_starts(rng: np.random.Generator) -> Tale:
    work = shift.drawn(rng)
    begin_s, _ = work.section(FROM_ELSEWHERE, rng.uniform(6, 9))
    rms = work.rms_for(rng.uniform(3, 10))
    return work.tale(work.jet(flow.between(begin_s + rng.uniform(1, 3), 1e3, rms, 0.3)))


@entered(KINDS, "air brakes let go within the section: HISS or RETRY, counted apart")
def brakes_let_go(rng: np.random.Generator) -> Tale:
    work = shift.drawn(rng)
    begin_s, end_s = work.section(FROM_ELSEWHERE, rng.uniform(6, 9))
    brake = air_brake(rng, 0.0, rng.uniform(-15, 5) - HIGH_OVER_LOW_DB)
    inner, start_s = brake.strength, begin_s + rng.uniform(0.5, 2)
    brake.strength = lambda at_s: np.where(
        (at_s > start_s) & (at_s < end_s), inner(at_s - start_s + 1.0), 0.0
    )
    return work.tale(brake)


@entered(KINDS, "nothing leaks, somebody shakes keys in the section")
def keys_shaken(rng: np.random.Generator) -> Tale:
    work = shift.drawn(rng)
    begin_s, end_s = work.section(QUIET_OR_RETRY, rng.uniform(5, 9))
    shaken = keys(rng, 0.0, rng.uniform(-30, -5) - HIGH_OVER_LOW_DB)
    shaken.starts_s = shaken.starts_s + begin_s
    keep = shaken.starts_s < end_s
    shaken.starts_s, shaken.levels_dbfs = shaken.starts_s[keep], shaken.levels_dbfs[keep]
    return work.tale(shaken)


@entered(KINDS, "nothing leaks, rain all the time")
def rainy(rng: np.random.Generator) -> Tale:
    work = shift.drawn(rng)
    work.section(QUIET_OR_RETRY, rng.uniform(5, 9))
    drops = rain(rng, 0.0, rng.uniform(-30, -10) - HIGH_OVER_LOW_DB)
    copies = [drops.starts_s + 8.0 * n for n in range(4)]
    drops.starts_s, drops.levels_dbfs = np.concatenate(copies), np.tile(drops.levels_dbfs, 4)
    return work.tale(drops)


@entered(KINDS, "nothing leaks, an LED lamp's driver sounds all the time: QUIET, never HISS")
def lamp_throughout(rng: np.random.Generator) -> Tale:
    work = shift.drawn(rng)
    work.section(Truth(said("quiet"), said("retry", "tone"), said("hiss")), rng.uniform(5, 9))
    return work.tale(lamp_driver(rng, 0.0, rng.uniform(-55, -25) - HIGH_OVER_LOW_DB))


@entered(KINDS, "nothing leaks, a pest repeller sweeps all the time: QUIET or RETRY, never HISS")
def repeller_throughout(rng: np.random.Generator) -> Tale:
    work = shift.drawn(rng)
    work.section(Truth(said("quiet", "retry"), said("tone"), said("hiss")), rng.uniform(5, 9))
    return work.tale(pest_repeller(rng, 0.0, rng.uniform(-50, -25) - HIGH_OVER_LOW_DB))


@entered(KINDS, "a section of some seconds, and one of 0.3 to 0.7 s: too short for any word but RETRY")
def too_short(rng: np.random.Generator) -> Tale:
    """The first section begins as soon as the background is taken, so that only a later one can be this short."""
    work = shift.drawn(rng)
    work.section(QUIET, rng.uniform(3, 5))
    work.section(ONLY_RETRY, rng.uniform(0.3, 0.7))
    return work.tale()


@entered(KINDS, "the microphone hears nothing: only RETRY is right")
def microphone_open(rng: np.random.Generator) -> Tale:
    work = shift.drawn(rng)
    work.section(ONLY_RETRY, rng.uniform(4, 8))
    return work.tale(unit=probe.drawn(rng, microphone=DISCONNECTED))


@entered(KINDS, "so loud that the high input is full all the time: RETRY, or QUIET by a lower input")
def too_loud(rng: np.random.Generator) -> Tale:
    work = Shift(rng, rng.uniform(3, 12))
    work.section(RESTLESS, rng.uniform(4, 8))
    return work.tale()
