"""A hiss that comes and goes, through the real firmware: found, and never called quiet; what is no hiss is none."""

from collections.abc import Callable

import numpy as np
import pytest
from curbtick.sound.recording import Recording
from curbtick.virtual.replay.checks import replay_hiss
from numpy.typing import NDArray

RATE_HZ = 250_000
SIGMA = 0.01
Signal = NDArray[np.float64]
Random = np.random.Generator


@pytest.fixture
def random(request: pytest.FixtureRequest) -> Random:
    """Each test's own, the same at every run."""
    return np.random.default_rng(sum(map(ord, request.node.name)))


def noise(random: Random, seconds: float, sigma: float = SIGMA) -> Signal:
    return random.normal(0.0, sigma, int(seconds * RATE_HZ))


def heard(random: Random, sound: Signal, background: Signal | None = None) -> tuple[str, list[str], float]:
    """Verdict, reasons and rise of a section, after a background of white noise unless another is given."""
    before = noise(random, 7.0) if background is None else background
    found = replay_hiss(Recording(sound, RATE_HZ), background=Recording(before, RATE_HZ))
    return found["verdict"], found["reasons"], found["above_background_db"]


def louder(random: Random, rises_db: Signal) -> Signal:
    """White noise whose level is so much above the background's, sample by sample."""
    made: Signal = noise(random, len(rises_db) / RATE_HZ) * 10 ** (rises_db / 20)
    return made


def pulses(rate_hz: float, duty: float, rise_db: float = 12.0, seconds: float = 4.0) -> Signal:
    """A level that rises for a share of each period."""
    at_s = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    made: Signal = np.where(at_s * rate_hz % 1.0 < duty, rise_db, 0.0)
    return made


@pytest.mark.parametrize("rate_hz", [1.5, 3.0, 5.0])
@pytest.mark.parametrize("duty", [0.1, 0.2, 0.4])
def test_a_leak_that_pulses_is_never_quiet(random: Random, rate_hz: float, duty: float) -> None:
    verdict, reasons, _ = heard(random, louder(random, pulses(rate_hz, duty)))
    # Pulses below 50 ms may be knocks: the probe says that it cannot tell.
    if duty / rate_hz > 0.06:
        assert verdict == "hiss"
    else:
        assert verdict == "hiss" or (verdict, reasons) == ("retry", ["gusty"])


@pytest.mark.parametrize("rise_db", [8.0, 20.0])
@pytest.mark.parametrize(("distance_m", "speed_m_s"), [(0.15, 1.4), (0.4, 0.5), (0.3, 0.15)])
def test_a_pass_of_the_wand_finds_a_leak(
    random: Random, distance_m: float, speed_m_s: float, rise_db: float
) -> None:
    """A point source's level along a straight line, so loud where it is nearest."""
    at_s = np.arange(5 * RATE_HZ) / RATE_HZ - 2.5
    leak = (10 ** (rise_db / 10) - 1) / (1 + (speed_m_s * at_s / distance_m) ** 2)
    verdict, _, above_db = heard(random, louder(random, 10 * np.log10(1 + leak)))
    assert verdict == "hiss" and above_db > rise_db / 3


def keys(random: Random, seconds: float = 4.0, a_second: float = 8.0) -> Signal:
    """Rattling: clicks that die away within some milliseconds, each over the whole band."""
    made = noise(random, seconds)
    for start in random.uniform(0, seconds - 0.1, int(a_second * seconds)):
        at = int(start * RATE_HZ)
        decay = np.exp(-np.arange(5_000) / random.uniform(300, 1_500))
        made[at : at + 5_000] += random.uniform(0.03, 0.3) * decay * random.standard_normal(5_000)
    return made


@pytest.mark.parametrize("a_second", [1.0, 4.0, 8.0, 12.0])
def test_keys_are_no_hiss(random: Random, a_second: float) -> None:
    for _ in range(3):
        verdict, reasons, _ = heard(random, keys(random, a_second=a_second))
        assert (verdict, reasons) in (("quiet", []), ("retry", ["gusty"]))


def test_a_knock_a_second_leaves_a_quiet_section_quiet(random: Random) -> None:
    assert heard(random, keys(random, a_second=1.0))[0] == "quiet"


def dead(random: Random, seconds: float) -> Signal:
    """What an unplugged microphone leaves: the amplifier's noise, 10 dB below a live microphone's."""
    return noise(random, seconds, 0.0025)


def wind(random: Random, seconds: float) -> Signal:
    """Gusts of 3 to 10 dB."""
    steps = int(seconds / 0.3) + 1
    gusts = np.repeat(random.uniform(0, 10, steps), int(0.3 * RATE_HZ))[: int(seconds * RATE_HZ)]
    return noise(random, seconds) * 10 ** (gusts / 20)


@pytest.mark.parametrize(("place", "why"), [(dead, "microphone_fault"), (wind, "gusty")])
def test_a_place_in_which_nothing_can_be_told_says_why(
    random: Random, place: Callable[[Random, float], Signal], why: str
) -> None:
    assert heard(random, place(random, 3.0), place(random, 7.0))[:2] == ("retry", [why])
