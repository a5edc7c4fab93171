"""Sensors that are weak, dead, loose or odd, and systems that begin or end within the reading."""

from dataclasses import replace

import numpy as np

from tests.bench.otheryard.bumper import setting
from tests.bench.otheryard.bumper.setting import Setting
from tests.bench.otheryard.kinds import Draft, Kinds, entered
from tests.bench.otheryard.sensor.drive import tone
from tests.bench.otheryard.sensor.sensor import Sensor
from tests.bench.otheryard.sensor.transducer import beside, single
from tests.bench.otheryard.truth import (
    BAND_DB,
    DEAD,
    DEAD_DBFS,
    WINDOW_HZ,
    Truth,
    said,
)
from tests.bench.otheryard.vehicle import contact, schedule
from tests.bench.otheryard.vehicle.bumper import Arrivals, Echo
from tests.bench.otheryard.vehicle.schedule import Firing

KINDS: Kinds = {}
# A reading is over within 1.5 s (DESIGN); what is sent before this, it must have heard.
SURELY_HEARD_S = 1.2

ODD = Truth(said("weak"), said("retry"), said("pass", "dead"))
NO_VERDICT_BUT_SOUND = Truth(said("retry", "pass"), frozenset(), said("weak", "dead"), sound=True)


def plain(world: Setting, held: Sensor, truth: Truth | None = None) -> Draft:
    """A regular system with this held sensor."""
    judged = world.by_level(held)
    if truth is not None:
        judged = replace(truth, level_dbfs=judged.level_dbfs, frequency_hz=judged.frequency_hz)
    return world.draft(judged, world.turns(), world.siblings(held))


@entered(KINDS, "a weak sensor, 1.5 dB and more below the pass limit and above the dead one")
def weak(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    return plain(world, world.sensor(world.weak_level()))


@entered(KINDS, "wet or frozen over: weak, its frequency 0.5 to 3 kHz low, damped")
def wet(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    at_hz = world.centre_hz - rng.uniform(500, 3000)
    return plain(world, world.sensor(world.weak_level(), at_hz, quality=rng.uniform(5, 10)))


@entered(KINDS, "a cracked membrane: weak, two peaks 1.5 to 4 kHz apart")
def cracked(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    held = world.sensor(-20.0)
    other = world.transducer(world.centre_hz + rng.choice([-1, 1]) * rng.uniform(1500, 4000))
    held.transducer = beside(held.transducer, other, rng.uniform(0.5, 1.0))
    held.set_level(world.weak_level())
    return plain(world, held, ODD)


@entered(KINDS, "rings on: at least 3.5 ms from the peak to -20 dB")
def long_ringing(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    quality = np.pi * world.centre_hz * rng.uniform(3.5e-3, 6e-3) / np.log(10)
    held = world.sensor(-10.0, world.centre_hz, [tone(world.centre_hz, 24)])
    held.transducer = single(world.centre_hz, quality)
    held.set_level(world.healthy_level())
    return plain(world, held, ODD)


@entered(KINDS, "loud, but 8.5 to 12 kHz beside its class")
def off_frequency(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    away_hz = rng.uniform(WINDOW_HZ + 2000, WINDOW_HZ + 5500)
    lower, upper = world.centre_hz - away_hz, world.centre_hz + away_hz
    choices = [hz for hz in (lower, upper) if 32e3 <= hz <= 78e3]
    held = world.sensor(world.healthy_level(), float(rng.choice(choices)))
    return plain(world, held, ODD)


@entered(KINDS, "bursts of 3.8 to 7 ms within 6 dB, which the limits do not allow")
def overlong(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    cycles = int(world.centre_hz * rng.uniform(3.8e-3, 7e-3))
    held = world.sensor(rng.uniform(-30, -4), world.centre_hz, [tone(world.centre_hz, cycles)])
    return plain(world, held, replace(ODD, best=said("weak", "retry")))


def loose_truth(world: Setting, held: Sensor, firings: list[Firing], truth: Truth = ODD) -> Truth:
    """Truth of a loose contact: one that sends nothing while a probe listens cannot be told from a dead sensor."""
    judged = replace(truth, level_dbfs=held.level_db(8))
    if any(f.sensor == world.held and 0 < f.at_s < SURELY_HEARD_S for f in firings):
        return judged
    return replace(judged, accepted=judged.accepted | {"dead"}, must_not=judged.must_not - {"dead"})


def _loose(rng: np.random.Generator, sent: list[bool], truth: Truth = ODD) -> Draft:
    """A loose contact among at least three siblings that are clearly heard (at most 4 dB under the most allowed)."""
    world = setting.drawn(rng, least=4)
    held = world.sensor(world.healthy_level())
    firings = [f for f in world.turns() if f.sensor != world.held or sent[f.burst]]
    judged = loose_truth(world, held, firings, truth)
    return world.draft(judged, firings, world.siblings(held), shade_most_db=39.0)


@entered(KINDS, "a loose contact sends every second burst; siblings show the cycle")
def loose_second(rng: np.random.Generator) -> Draft:
    return _loose(rng, contact.every(2, rng))


@entered(KINDS, "a loose contact sends every third burst; siblings show the cycle")
def loose_third(rng: np.random.Generator) -> Draft:
    return _loose(rng, contact.every(3, rng))


@entered(KINDS, "a loose contact sends 30 to 60 % of the bursts at random, never three in a row")
def loose_random(rng: np.random.Generator) -> Draft:
    return _loose(rng, contact.random(rng, rng.uniform(0.3, 0.6)))


@entered(KINDS, "a loose contact sticks: one or two bursts, two to five missing")
def loose_stretches(rng: np.random.Generator) -> Draft:
    return _loose(rng, contact.stretches(rng))


@entered(KINDS, "a contact that lets go after three to six good bursts: all but DEAD is right")
def loose_at_last(rng: np.random.Generator) -> Draft:
    return _loose(rng, contact.lets_go(rng), Truth(said("pass", "weak", "retry"), must_not=said("dead")))


@entered(KINDS, "within 1.5 dB of the pass or the dead limit: both neighbours are right")
def near_limit(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    upper = bool(rng.uniform() < 0.5)
    limit_dbfs = world.pass_dbfs if upper else DEAD_DBFS
    held = world.sensor(limit_dbfs + rng.uniform(-BAND_DB, BAND_DB))
    words, never = (said("pass", "weak"), said("dead")) if upper else (said("weak", "dead"), said("pass"))
    return plain(world, held, Truth(words, must_not=never))


@entered(KINDS, "sends nothing; its siblings do")
def dead(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng, least=3)
    return world.draft(DEAD, world.turns(), world.siblings(None))


@entered(KINDS, "sends -37 to -60 dBFS: dead by the limits")
def nearly_dead(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng, least=3)
    return plain(world, world.sensor(rng.uniform(-60, -37)), DEAD)


@entered(KINDS, "sends nothing; its siblings' bursts come again from obstacles, 3 to 20 dB weaker")
def dead_echoing(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng, least=3)
    sensors = world.siblings(None)
    loud = (world.held + 1) % world.count
    draft = world.draft(DEAD, world.turns(), sensors)
    heard = draft.sources[0]
    assert isinstance(heard, Arrivals)
    echoes = [Echo(rng.uniform(2e-3, 25e-3), rng.uniform(3, 20)) for _ in range(3)]
    heard.repeat(sensors[loud], echoes)
    return draft


@entered(KINDS, "sends nothing; its siblings take phase codes, sweeps or doubles")
def dead_among_coded(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng, least=3)
    scheduler = int(rng.integers(3))
    if scheduler == 0:
        firings = schedule.double(rng, world.count, world.slot_s + 10e-3, rng.uniform(8e-3, 18e-3))
    elif scheduler == 1:
        firings = schedule.dithered(rng, world.count, world.slot_s, rng.uniform(2e-3, 8e-3))
    else:
        firings = schedule.in_groups(rng, world.count, rng.uniform(30e-3, 60e-3))
    return world.draft(DEAD, firings, world.siblings(None))


@entered(KINDS, "a sound system that begins to transmit 0.3 to 0.9 s into the reading")
def starts(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng, least=3)
    held = world.sensor(world.healthy_level())
    firings = schedule.within(world.turns(), rng.uniform(0.3, 0.9), schedule.SECONDS)
    return world.draft(NO_VERDICT_BUT_SOUND, firings, world.siblings(held))


@entered(KINDS, "a sound system that stops 0.3 to 0.9 s into the reading")
def stops(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng, least=3)
    held = world.sensor(world.healthy_level())
    firings = schedule.within(world.turns(), 0.0, rng.uniform(0.3, 0.9))
    return world.draft(NO_VERDICT_BUT_SOUND, firings, world.siblings(held))


@entered(KINDS, "sends nothing, in a system that begins or stops within the reading")
def dead_in_part(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng, least=3)
    change_s = rng.uniform(0.3, 0.9)
    start_s, end_s = (change_s, schedule.SECONDS) if rng.uniform() < 0.5 else (0.0, change_s)
    truth = replace(DEAD, best=said("dead", "retry"))
    return world.draft(truth, schedule.within(world.turns(), start_s, end_s), world.siblings(None))
