"""The kinds of scenes of the seal check."""

import numpy as np

from tests.bench.otheryard.foreign.air import air_brake, blow_gun
from tests.bench.otheryard.foreign.bodies import keys
from tests.bench.otheryard.foreign.source import Steady
from tests.bench.otheryard.front import unit as probe
from tests.bench.otheryard.front.microphone import DISCONNECTED
from tests.bench.otheryard.front.unit import HIGH_OVER_LOW_DB
from tests.bench.otheryard.kinds import Kinds, entered
from tests.bench.otheryard.seal import walk
from tests.bench.otheryard.seal.walk import (
    LEAK,
    LEAK_LEAST_S,
    LIMIT_DB,
    NOTHING_DB,
    ONLY_RETRY,
    TIGHT,
    Slit,
    Walk,
)
from tests.bench.otheryard.story import Tale
from tests.bench.otheryard.truth import Truth, said
from tests.bench.otheryard.types import F64, Source

KINDS: Kinds = {}


def slit(rng: np.random.Generator, at: float | None = None, longest_s: float = 1.5) -> Slit:
    """A leak somewhere in the section."""
    where = rng.uniform(0.2, 0.8) if at is None else at
    return Slit(where, walk.leak_db(rng), rng.uniform(LEAK_LEAST_S, longest_s))


def _one(way: Walk, truth: Truth, *slits: Slit, flank_db: float | None = None) -> Walk:
    """Reference, one section, confirmation."""
    below_db = walk.flank_db(way.rng) if flank_db is None else flank_db
    way.free()
    way.begin(below_db)
    way.section(truth, way.rng.uniform(4, 8), below_db, *slits)
    way.confirm()
    return way


def _leaky(rng: np.random.Generator) -> Walk:
    return _one(walk.drawn(rng), LEAK, slit(rng))


def _tight(rng: np.random.Generator) -> Walk:
    return _one(walk.drawn(rng), TIGHT)


@entered(KINDS, "one leak, passed within 0.4 to 1.5 s")
def one_leak(rng: np.random.Generator) -> Tale:
    return _leaky(rng).tale()


@entered(KINDS, "a small hole, passed within 0.4 to 0.6 s")
def pinhole(rng: np.random.Generator) -> Tale:
    return _one(walk.drawn(rng), LEAK, slit(rng, longest_s=0.6)).tale()


@entered(KINDS, "a seal that leaks along half the section")
def long_leak(rng: np.random.Generator) -> Tale:
    return _one(walk.drawn(rng), LEAK, Slit(0.5, walk.leak_db(rng), 2.0)).tale()


@entered(KINDS, "a leak at the section's very beginning; then the tone is hardly heard")
def leak_at_once(rng: np.random.Generator) -> Tale:
    return _one(walk.drawn(rng), LEAK, slit(rng, 0.12, 0.6), flank_db=NOTHING_DB).tale()


@entered(KINDS, "a leak shortly before the section's end")
def leak_at_last(rng: np.random.Generator) -> Tale:
    return _one(walk.drawn(rng), LEAK, slit(rng, 0.85, 0.8)).tale()


@entered(KINDS, "a tight seal; the tone comes through panels 34 to 60 dB below the reference, in fades")
def tight_flanked(rng: np.random.Generator) -> Tale:
    return _tight(rng).tale()


@entered(KINDS, "a tight seal, nothing of the tone is heard; the reference is confirmed afterwards")
def tight_silent(rng: np.random.Generator) -> Tale:
    return _one(walk.drawn(rng), TIGHT, flank_db=NOTHING_DB).tale()


@entered(KINDS, "three sections: tight, leak, tight")
def three_sections(rng: np.random.Generator) -> Tale:
    way, below_db = walk.drawn(rng), walk.flank_db(rng)
    way.free()
    way.begin(below_db)
    way.section(TIGHT, rng.uniform(3, 5), below_db)
    way.section(LEAK, rng.uniform(3, 5), below_db, slit(rng, longest_s=0.8))
    way.section(TIGHT, rng.uniform(3, 5), below_db)
    way.confirm()
    return way.tale()


@entered(KINDS, "a leak within 4 dB of the limit: both words are right")
def near_limit(rng: np.random.Generator) -> Tale:
    both = Truth(said("leak", "tight"), said("retry"))
    return _one(walk.drawn(rng), both, Slit(0.5, LIMIT_DB + rng.uniform(-4, 4), 1.0), flank_db=-60.0).tale()


def _player(rng: np.random.Generator, change_db: float, *slits: Slit) -> Tale:
    """The player changes by so much within the section; only the confirmation can show it."""
    way = _one(walk.drawn(rng), ONLY_RETRY, *slits)
    begin_s, end_s = way.presses[1].at_s, way.presses[2].at_s
    change_s = rng.uniform(begin_s, 0.5 * (begin_s + end_s))
    return way.tale(volume=((0.0, 0.0), (change_s, 0.0), (change_s + 0.05, change_db), (1e3, change_db)))


@entered(KINDS, "the player stops in the section, and stays silent: only RETRY is right")
def player_stops(rng: np.random.Generator) -> Tale:
    return _player(rng, -100.0)


@entered(KINDS, "the player turns down by 10 to 20 dB in the section: only RETRY is right")
def player_quieter(rng: np.random.Generator) -> Tale:
    return _player(rng, -rng.uniform(10, 20))


@entered(KINDS, "the player turns up by 10 to 16 dB in the section: only RETRY is right")
def player_louder(rng: np.random.Generator) -> Tale:
    way = walk.drawn(rng)
    way.reference_dbfs = rng.uniform(-40, -25)
    return _player_on(way, rng.uniform(10, 16))


def _player_on(way: Walk, change_db: float) -> Tale:
    _one(way, ONLY_RETRY)
    change_s = way.presses[1].at_s + 0.5
    return way.tale(volume=((0.0, 0.0), (change_s, 0.0), (change_s + 0.05, change_db), (1e3, change_db)))


@entered(
    KINDS, "a leak passed before the player stops; the confirmation is silent: LEAK or RETRY, never TIGHT"
)
def leak_then_stop(rng: np.random.Generator) -> Tale:
    way = _one(walk.drawn(rng), Truth(said("leak", "retry"), must_not=said("tight")), slit(rng, 0.25, 0.6))
    stop_s = way.presses[2].at_s - 0.3
    return way.tale(volume=((0.0, 0.0), (stop_s, 0.0), (stop_s + 0.05, -100.0), (1e3, -100.0)))


@entered(KINDS, "the first press finds no tone at all, so there is no reference: only RETRY is right")
def no_tone(rng: np.random.Generator) -> Tale:
    way = _one(walk.drawn(rng), ONLY_RETRY)
    return way.tale(volume=((0.0, -100.0), (1e3, -100.0)))


@entered(KINDS, "a leak in a noisy shop: the tone stands 15 dB and more over the noise beside it")
def leak_in_noise(rng: np.random.Generator) -> Tale:
    return _leaky(rng).tale(blow_gun(rng, 0.0, rng.uniform(-30, -15) - HIGH_OVER_LOW_DB), noise_dbfs=-45.0)


@entered(KINDS, "a tight seal in a noisy shop")
def tight_in_noise(rng: np.random.Generator) -> Tale:
    way = walk.drawn(rng)
    way.reference_dbfs = rng.uniform(-22, -12)
    _one(way, TIGHT)
    return way.tale(blow_gun(rng, 0.0, rng.uniform(-30, -15) - HIGH_OVER_LOW_DB), noise_dbfs=-45.0)


def _other_tone(rng: np.random.Generator, tone_hz: float) -> Source:
    """A steady tone 200 to 2,000 Hz beside the check's."""
    other_hz = tone_hz + rng.choice([-1, 1]) * rng.uniform(200, 2000)

    def shape(at_s: F64) -> F64:
        return np.asarray(np.sin(2 * np.pi * other_hz * at_s))

    return Steady(shape, rng.uniform(-35, -15) - HIGH_OVER_LOW_DB)


@entered(KINDS, "a tight seal while another machine sounds a tone 200 to 2,000 Hz away")
def tight_other_tone(rng: np.random.Generator) -> Tale:
    return _tight(rng).tale(_other_tone(rng, 15_000.0))


@entered(KINDS, "a tight seal while somebody shakes keys")
def tight_keys(rng: np.random.Generator) -> Tale:
    return _tight(rng).tale(keys(rng, 0.0, rng.uniform(-35, -10) - HIGH_OVER_LOW_DB))


@entered(KINDS, "a leak while somebody shakes keys")
def leak_keys(rng: np.random.Generator) -> Tale:
    return _leaky(rng).tale(keys(rng, 0.0, rng.uniform(-35, -10) - HIGH_OVER_LOW_DB))


@entered(KINDS, "a tight seal while air brakes let go: TIGHT or RETRY, never LEAK")
def tight_brakes(rng: np.random.Generator) -> Tale:
    way = _one(walk.drawn(rng), Truth(said("tight", "retry"), must_not=said("leak")))
    return way.tale(air_brake(rng, 0.0, rng.uniform(-25, 0) - HIGH_OVER_LOW_DB))


@entered(KINDS, "the player's clock is 30 to 100 ppm off and drifts")
def player_drifts(rng: np.random.Generator) -> Tale:
    way = walk.drawn(rng)
    way.tone_hz *= 1 + rng.choice([-1, 1]) * rng.uniform(30, 100) * 1e-6
    leaks = bool(rng.uniform() < 0.5)
    _one(way, LEAK if leaks else TIGHT, *([slit(rng)] if leaks else []))
    return way.tale(drift_ppm_per_s=rng.uniform(-1, 1))


@entered(KINDS, "a loud tone: the reference fills the high input and more")
def loud_reference(rng: np.random.Generator) -> Tale:
    way = walk.drawn(rng)
    way.reference_dbfs = rng.uniform(-1, 8)
    leaks = bool(rng.uniform() < 0.5)
    truth = (
        Truth(said("leak", "retry"), must_not=said("tight"))
        if leaks
        else Truth(said("tight", "retry"), must_not=said("leak"))
    )
    return _one(way, truth, *([slit(rng)] if leaks else [])).tale()


@entered(
    KINDS, "a faint tone: the reference 15 to 20 dB over what can be heard at all, so a tight seal is silent"
)
def faint_reference(rng: np.random.Generator) -> Tale:
    way = walk.drawn(rng)
    way.reference_dbfs = rng.uniform(-62, -57)
    return _one(way, Truth(said("tight", "retry"), must_not=said("leak")), flank_db=NOTHING_DB).tale(
        noise_dbfs=-60.0
    )


@entered(KINDS, "the microphone hears nothing: only RETRY is right")
def microphone_open(rng: np.random.Generator) -> Tale:
    return _one(walk.drawn(rng), ONLY_RETRY).tale(unit=probe.drawn(rng, microphone=DISCONNECTED))


@entered(KINDS, "the wand held still in a fade of the panel's field, then moved on: tight")
def still_in_fade(rng: np.random.Generator) -> Tale:
    way = walk.drawn(rng)
    way.speed_m_per_s = rng.uniform(0.002, 0.01)
    return _one(way, TIGHT, flank_db=rng.uniform(-60, -38)).tale()
