"""Whatever the converter gives there is a verdict or a RETRY; and what may not change a verdict does not change it.

A failing example prints the call that makes it again; its seeds and parts are its arguments.
"""

import json
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import numpy as np
import pytest
from curbtick.virtual.probe.bus import Ear
from curbtick_wire import records
from curbtick_wire.names import PASS, RETRY, WEAK
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.unit.probe.bumper.readingdata import (
    LISTENED_US,
    Codes,
    Inputs,
    Lasting,
    Reading,
    Sound,
    every,
    faint,
    limits_of,
    ruled,
    train_of,
)

BLOCK = 1024
LENGTH = 64 * BLOCK
PATIENT = settings(deadline=None, print_blob=True)


@pytest.fixture(scope="module")
def probed() -> Iterator[Lasting]:
    lasting = Lasting()
    yield lasting
    lasting.close()


def noise(random: np.random.Generator) -> np.ndarray:
    return random.normal(2048, 10 ** random.uniform(-0.5, 3.3), LENGTH)


def constant(random: np.random.Generator) -> np.ndarray:
    return np.full(LENGTH, random.choice([0, 1, 2, 3, 511, 2047, 2048, 3583, 4093, 4094, 4095]))


def steps(random: np.random.Generator) -> np.ndarray:
    return np.repeat(random.integers(0, 4096, 64), BLOCK)


def square(random: np.random.Generator) -> np.ndarray:
    half = int(random.integers(1, 3000))
    low, high = random.integers(0, 4096, 2)
    return np.asarray(np.where(np.arange(LENGTH) // half % 2, low, high))


def ramp(random: np.random.Generator) -> np.ndarray:
    return np.arange(LENGTH) * int(random.integers(1, 4096)) % 4096


def tone(random: np.random.Generator) -> np.ndarray:
    turn = 2 * np.pi * random.uniform(0, 125e3) / 250e3
    return np.asarray(2048 + 10 ** random.uniform(0, 3.4) * np.sin(turn * np.arange(LENGTH)))


def sweep(random: np.random.Generator) -> np.ndarray:
    first, last = random.uniform(0, np.pi, 2)
    turn = np.cumsum(np.linspace(first, last, LENGTH))
    return np.asarray(2048 + 10 ** random.uniform(0, 3.4) * np.sin(turn))


def bursts(random: np.random.Generator) -> np.ndarray:
    """Tone or noise switched on now and then, at any spacing and length."""
    gate = np.zeros(LENGTH)
    for start in np.cumsum(random.integers(50, 30_000, 60)):
        gate[start : start + int(10 ** random.uniform(0.5, 3.5))] = 10 ** random.uniform(0.5, 3.5)
    carrier = random.normal(0, 1, LENGTH) if random.random() < 0.4 else np.sin(1.2 * np.arange(LENGTH))
    return np.asarray(2048 + random.normal(0, 2, LENGTH) + gate * carrier)


def impulses(random: np.random.Generator) -> np.ndarray:
    codes = np.full(LENGTH, 2048.0)
    codes[random.integers(0, LENGTH, int(random.integers(1, 2000)))] = random.choice([0, 4095])
    return codes


KINDS: dict[str, Callable[[np.random.Generator], np.ndarray]] = {
    make.__name__: make for make in (noise, constant, steps, square, ramp, tone, sweep, bursts, impulses)
}


def stream(kinds: list[str], seed: int) -> np.ndarray:
    """The kinds one after the other, each LENGTH samples, cut to the converter's range."""
    random = np.random.default_rng(seed)
    parts = [KINDS[kind](random) for kind in kinds]
    return np.asarray(np.clip(np.rint(np.concatenate(parts)), 0, 4095), dtype=np.uint16)


def check(reading: Reading) -> None:
    """What holds for every reading: its numbers agree with each other, and it came in time."""
    values = reading.values
    assert values["burst_count"] <= values["due_count"]
    if reading.verdict in (PASS, WEAK):
        assert values["burst_count"] >= 3 and values["level_cdb"] >= limits_of()["dead_cdb"]
    if reading.verdict != PASS:
        assert reading.reasons
    else:
        assert not reading.reasons and values["level_cdb"] >= limits_of()["pass_cdb"]
    assert reading.took_us <= 3_000_000 and values["listened_ms"] <= 2_750
    kept = sum(part["count"] for part, _ in reading.sounds)
    assert kept == 0 or values["sound_count"] <= 192
    if reading.snippet is not None:
        part, tail = reading.snippet
        assert len(tail) == part["sample_count"] + part["envelope_count"] <= records.SNIPPET_MAX


@settings(PATIENT, max_examples=40)
@given(
    kinds=st.lists(st.sampled_from(sorted(KINDS)), min_size=1, max_size=3),
    high=st.sampled_from(sorted(KINDS)),
    seed=st.integers(0, 1 << 32),
    before_us=st.sampled_from([0, 200_000]),
)
def test_any_stream_gives_a_reading_and_never_an_exception(
    probed: Lasting, kinds: list[str], high: str, seed: int, before_us: int
) -> None:
    """A record that could not be encoded, or a traceback on the probe, fails here too (Prober.take)."""
    ear: Ear = Inputs(stream(kinds, seed), stream([high], seed + 1))
    check(probed(lambda prober: prober.take(ear, before_us=before_us)))


@pytest.mark.parametrize(
    "kind", [["constant"], ["square"], ["noise"], ["tone"], ["ramp"], ["sweep"], ["steps"]]
)
@pytest.mark.parametrize("seed", range(3))
def test_what_is_no_sensor_is_never_passed(probed: Lasting, kind: list[str], seed: int) -> None:
    codes = stream(kind, seed)
    assert probed(lambda prober: prober.take(Codes(codes))).verdict != PASS


any_sound = st.builds(
    Sound,
    time_us=st.integers(0, LISTENED_US),
    level_cdb=st.integers(-9000, 600),
    frequency_hz=st.integers(23_750, 86_250),
    sweep_hz=st.integers(-31_250, 31_250),
    length_us=st.integers(0, 1_300_000),
    ringdown_us=st.integers(-1, 9_000),
    evidence_cdb=st.integers(-500, 9_000),
)


@st.composite
def scenes(draw: st.DrawFn) -> list[Sound]:
    """A train that may miss bursts, siblings, and sounds of any kind."""
    interval_us = draw(st.integers(28_000, 510_000))
    level_cdb = draw(st.integers(-5000, -100))
    held = every(interval_us, draw(st.integers(0, interval_us)), level_cdb=level_cdb)
    sounds = [sound for sound in held if draw(st.integers(0, 5))]
    for share in draw(st.lists(st.integers(1, 11), max_size=4, unique=True)):
        sounds += faint(interval_us, interval_us * share // 12, draw(st.integers(900, 2500)))
    return sounds + draw(st.lists(any_sound, max_size=40))


@settings(PATIENT, max_examples=20)
@given(sounds=scenes())
def test_any_sounds_sort_alike_on_micropython_and_cpython(probed: Lasting, sounds: list[Sound]) -> None:
    theirs = probed(lambda prober: prober.sort(sounds))
    trains = train_of(sounds)
    ours = {name: value for name, value in vars(trains).items() if isinstance(value, int)}
    assert json.loads(json.dumps({**ours, "kinds": trains.kinds})) == theirs
    assert 0 <= trains.count <= trains.due
    ruled(trains)


def heard(sounds: list[Sound]) -> tuple[Any, ...]:
    """What a verdict is made of."""
    trains = train_of(sounds)
    measured = (trains.count, trains.due, trains.interval_us, trains.level_cdb, trains.frequency_hz)
    return (*measured, *ruled(trains))


def is_plain(places: list[int]) -> bool:
    """Whether no two siblings lie half or a third of the cycle apart, as one does that comes two or three times."""
    return not any((late - early) % 12 in (4, 6, 8) for early in places for late in places)


slots = st.lists(st.integers(1, 11), min_size=1, max_size=5, unique=True)


@settings(PATIENT, max_examples=20)
@given(
    data=st.data(),
    interval_us=st.sampled_from([120_000, 160_000, 200_000, 240_000]),
    places=slots,
    level_cdb=st.integers(-3400, -300),
)
def test_siblings_in_another_order_give_the_same_verdict(
    data: st.DataObject, interval_us: int, places: list[int], level_cdb: int
) -> None:
    """The siblings' frequencies, lengths and sweeps change places; their evidence and their times stay."""
    traits = [
        {"frequency_hz": 47_000 + 300 * i, "length_us": 500 + 20 * i, "sweep_hz": 40 * i}
        for i in range(len(places))
    ]
    held = every(interval_us, 20_000, level_cdb=level_cdb)

    def with_traits(order: list[dict[str, int]]) -> list[Sound]:
        trains = [
            faint(interval_us, 20_000 + interval_us * place // 12, **trait)
            for place, trait in zip(places, order, strict=True)
        ]
        return held + [sound for train in trains for sound in train]

    before = heard(with_traits(traits))
    if is_plain(places):
        assert before[5] == (PASS if level_cdb >= limits_of()["pass_cdb"] else WEAK)
    assert heard(with_traits(data.draw(st.permutations(traits)))) == before


@settings(PATIENT, max_examples=20)
@given(
    data=st.data(),
    interval_us=st.sampled_from([120_000, 160_000, 200_000, 240_000]),
    places=slots.filter(is_plain),
    level_cdb=st.integers(-3400, -300),
)
def test_siblings_that_change_places_with_all_they_have_change_nothing(
    data: st.DataObject, interval_us: int, places: list[int], level_cdb: int
) -> None:
    """Nearer and farther siblings: levels 4 dB and evidence 2 dB apart."""
    held = every(interval_us, 20_000, level_cdb=level_cdb)
    order = data.draw(st.permutations(range(len(places))))

    def with_order(order: Sequence[int]) -> list[Sound]:
        trains = [
            faint(interval_us, 20_000 + interval_us * place // 12, 1500 + 200 * i, level_cdb=-6400 + 400 * i)
            for place, i in zip(places, order, strict=True)
        ]
        return held + [sound for train in trains for sound in train]

    assert heard(with_order(order))[:7] == heard(with_order(range(len(places))))[:7]


@settings(PATIENT, max_examples=20)
@given(
    interval_us=st.sampled_from([120_000, 160_000, 200_000, 240_000]),
    places=slots.filter(is_plain),
    level_cdb=st.integers(-3400, -300),
    sibling_cdb=st.integers(-7000, -4301),
)
def test_siblings_below_the_neighbour_limit_never_change_pass_or_weak(
    interval_us: int, places: list[int], level_cdb: int, sibling_cdb: int
) -> None:
    """Each sibling 2.6 dB apart in evidence from the next, as unlike distances make them."""
    held = every(interval_us, 20_000, level_cdb=level_cdb)
    others = [
        sound
        for i, place in enumerate(places)
        for sound in faint(
            interval_us, 20_000 + interval_us * place // 12, 1_000 + 260 * i, level_cdb=sibling_cdb
        )
    ]
    alone = heard(held)
    assert alone[5] in (PASS, WEAK)
    assert heard(held + others)[:7] == alone[:7]


def test_a_probe_that_fails_shows_its_traceback(probed: Lasting) -> None:
    """The check above has teeth: an answer that the firmware cannot use is seen."""
    broken = {**limits_of(), "pass_cdb": None}
    with pytest.raises(AssertionError, match="TypeError"):
        probed(lambda prober: prober.take(Codes(stream(["bursts"], 1)), limits=broken))
    assert probed(lambda prober: prober.take(Codes(np.full(8, 2048)))).verdict == RETRY
