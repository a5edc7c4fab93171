"""What the hiss benchmark is made of, and its leaks that come and go: pulses, passes of the wand, and rattling."""

from collections.abc import Callable
from typing import Any

import numpy as np

from tests.bench._common import figure
from tests.bench.leaks.link import RATE_HZ, UPDATE, Probe, Signal
from tests.bench.leaks.stats import Count

SECOND = 5
BACKGROUND, CHOOSE = 30, 5
SIGMA = 0.01

Figures = list[dict[str, Any]]
Random = np.random.Generator
Maker = Callable[[int], Signal]


def begin(probe: Probe, background: Signal) -> list[int]:
    """Have the background taken; return taken, status, band edges, level, threshold, stationary, decides."""
    probe.tell("hiss")
    return probe.ask(f"background {BACKGROUND} {CHOOSE}", background)


def whole(updates: int) -> int:
    """Samples of so many updates."""
    return updates * UPDATE


def white(random: Random, updates: int) -> Signal:
    """White noise for so many updates."""
    made: Signal = SIGMA * random.standard_normal(whole(updates))
    return made


def shown(count: Count) -> str:
    """A count and its interval."""
    low, high = count.interval
    return f"{count.hits} of {count.of}, 95 % {low:.2g} to {high:.2g}"


def share(name: str, right: int, of: int, bound: float = 0.95) -> dict[str, Any]:
    """A share that holds where the run does not disprove it."""
    count = Count(right, of)
    return figure(name, round(count.rate, 3), f">= {bound} ({shown(count)})", count.interval[1] >= bound)


def in_time(probe: Probe, trials: int, random: Random) -> Figures:
    """A leak that pulses is never quiet; a pass of the wand finds one; rattling is no hiss.

    Pulses of 12 dB, 1.5 to 5 a second, for 0.1 to 0.4 of the time. A point source along a straight line, 15 to 40 cm
    away at 0.5 to 1.4 m/s, 8 to 20 dB at its nearest. Clicks of the whole band that die away in 1 to 6 ms.
    """

    def pulsing(samples: int) -> Signal:
        at = np.arange(samples) / RATE_HZ * random.uniform(1.5, 5.0)
        return 10 ** (12 / 20 * (at % 1.0 < random.uniform(0.1, 0.4))) * noise(samples)

    def passing(samples: int) -> Signal:
        at = np.arange(samples) / RATE_HZ - random.uniform(1.0, samples / RATE_HZ - 1.0)
        leak = 10 ** (random.uniform(0.8, 2.0)) - 1
        narrow = random.uniform(0.5, 1.4) / random.uniform(0.15, 0.4)
        made: Signal = (1 + leak / (1 + (narrow * at) ** 2)) ** 0.5 * noise(samples)
        return made

    def rattling(samples: int) -> Signal:
        made = noise(samples)
        for start in random.integers(0, samples - 5_000, random.poisson(samples / RATE_HZ * 8)):
            decay = np.exp(-np.arange(5_000) / random.uniform(250, 1_500))
            made[start : start + 5_000] += random.uniform(0.03, 0.3) * decay * random.standard_normal(5_000)
        return made

    def noise(samples: int) -> Signal:
        made: Signal = SIGMA * random.standard_normal(samples)
        return made

    def verdicts(make: Maker) -> list[int]:
        said = []
        for _ in range(trials):
            begin(probe, noise(whole(BACKGROUND + CHOOSE)))
            probe.rows("listen", make(whole(4 * SECOND)))
            said.append(probe.ask("forget")[0])
        return said

    pulses, passes, rattles = verdicts(pulsing), verdicts(passing), verdicts(rattling)
    return [
        figure("pulses_called_quiet", pulses.count(1), f"== 0 of {trials}", not pulses.count(1)),
        share("pulses_called_hiss", pulses.count(2), trials, 0.7),
        figure("passes_called_quiet", passes.count(1), f"== 0 of {trials}", not passes.count(1)),
        share("passes_called_hiss", passes.count(2), trials),
        figure("rattles_called_hiss", rattles.count(2), f"== 0 of {trials}", not rattles.count(2)),
    ]
