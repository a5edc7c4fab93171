"""Kinds of the hiss check in which something leaks."""

import numpy as np

from tests.bench.otheryard.jet import flow, shift
from tests.bench.otheryard.jet.shift import (
    HISS,
    TONE,
    Shift,
)
from tests.bench.otheryard.kinds import Kinds, entered
from tests.bench.otheryard.story import Tale
from tests.bench.otheryard.truth import Truth, said

KINDS: Kinds = {}


def _steady(rng: np.random.Generator, rise_db: float, work: Shift | None = None) -> Tale:
    """A leak that is heard through the whole section."""
    work = work or shift.drawn(rng)
    begin_s, end_s = work.section(HISS, rng.uniform(4, 8))
    return work.tale(work.jet(flow.between(begin_s, end_s, work.rms_for(rise_db), 0.2)))


@entered(KINDS, "a steady leak, 1.5 to 12 dB over the background, through the whole section")
def steady_leak(rng: np.random.Generator) -> Tale:
    return _steady(rng, rng.uniform(1.5, 12))


@entered(KINDS, "a small steady leak, 0.8 to 1.2 dB")
def small_leak(rng: np.random.Generator) -> Tale:
    return _steady(rng, rng.uniform(0.8, 1.2))


@entered(KINDS, "a strong leak, 12 to 30 dB")
def strong_leak(rng: np.random.Generator) -> Tale:
    work = Shift(rng, rng.uniform(-65, -50))
    return _steady(rng, rng.uniform(12, 30), work)


@entered(KINDS, "a leak of 2 to 10 dB in a busy yard")
def leak_in_busy_yard(rng: np.random.Generator) -> Tale:
    return _steady(rng, rng.uniform(2, 10), Shift(rng, rng.uniform(-32, -25)))


@entered(KINDS, "a leak of 1.5 to 8 dB at which the wand stops for 1.6 to 3 s")
def leak_dwelt_on(rng: np.random.Generator) -> Tale:
    work = shift.drawn(rng)
    begin_s, end_s = work.section(HISS, rng.uniform(7, 11))
    at_s = rng.uniform(begin_s + 1, end_s - 4)
    course = flow.between(at_s, at_s + rng.uniform(1.6, 3), work.rms_for(rng.uniform(1.5, 8)), 0.15)
    return work.tale(work.jet(course))


def _pass(rng: np.random.Generator, speed_m_per_s: float) -> Tale:
    work = shift.drawn(rng)
    begin_s, end_s = work.section(HISS, rng.uniform(4, 7))
    rms, nearest_m = work.rms_for(rng.uniform(8, 20)), rng.uniform(0.15, 0.4)
    return work.tale(
        work.jet(flow.passed(rng.uniform(begin_s + 1.5, end_s - 1.5), speed_m_per_s, nearest_m, rms))
    )


@entered(KINDS, "one pass at walking speed, 0.5 to 1.4 m/s, 15 to 40 cm away; 8 to 20 dB where it is nearest")
def walking_pass(rng: np.random.Generator) -> Tale:
    return _pass(rng, rng.uniform(0.5, 1.4))


@entered(KINDS, "one slow pass, 0.1 to 0.3 m/s; 8 to 20 dB where it is nearest")
def slow_pass(rng: np.random.Generator) -> Tale:
    return _pass(rng, rng.uniform(0.1, 0.3))


@entered(KINDS, "a leak that pulses 1.5 to 5 times a second, +12 dB for 0.1 to 0.4 of the time")
def pulsing_leak(rng: np.random.Generator) -> Tale:
    work = shift.drawn(rng)
    begin_s, end_s = work.section(HISS, rng.uniform(4, 8))
    whole = flow.between(begin_s, end_s, work.rms_for(12.0))
    course = flow.pulsing(whole, rng.uniform(1.5, 5), rng.uniform(0.1, 0.4), -40.0, rng.uniform(0, 1))
    return work.tale(work.jet(course))


@entered(KINDS, "a wet fitting: puffs by chance, 2 to 6 a second, 8 to 15 dB")
def wet_fitting(rng: np.random.Generator) -> Tale:
    work = shift.drawn(rng)
    begin_s, end_s = work.section(HISS, rng.uniform(5, 8))
    whole = flow.between(begin_s, end_s, work.rms_for(rng.uniform(8, 15)))
    return work.tale(work.jet(flow.gurgling(rng, whole, rng.uniform(2, 6))))


def _whistle(rng: np.random.Generator, hiss_db: float, truth: Truth) -> Tale:
    work = shift.drawn(rng)
    begin_s, end_s = work.section(truth, rng.uniform(4, 8))
    tone_rms = work.rms_for(rng.uniform(8, 20))
    tone = flow.Whistle(
        rng.uniform(32e3, 60e3),
        rng.uniform(5, 60),
        flow.between(begin_s, end_s, tone_rms, 0.2),
        rng.uniform(0.5, 5),
    )
    return work.tale(tone, work.jet(flow.between(begin_s, end_s, work.rms_for(hiss_db), 0.2)))


@entered(KINDS, "a leak that whistles: a tone of 32 to 60 kHz, 8 to 20 dB over all the noise; TONE, or HISS")
def whistle(rng: np.random.Generator) -> Tale:
    return _whistle(rng, 0.05, TONE)


@entered(KINDS, "a leak that hisses and whistles")
def whistle_and_hiss(rng: np.random.Generator) -> Tale:
    return _whistle(rng, rng.uniform(2, 6), Truth(said("tone", "hiss"), must_not=said("quiet")))
