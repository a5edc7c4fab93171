"""Loose contacts: which of a sensor's due bursts reach its membrane. True is a burst sent."""

import numpy as np

DUE = 400
RUN_MAX = 2


def every(step: int, rng: np.random.Generator) -> list[bool]:
    """One burst in `step`."""
    first = int(rng.integers(step))
    return [n % step == first for n in range(DUE)]


def random(rng: np.random.Generator, share: float) -> list[bool]:
    """Each burst with probability `share`, never three in a row: every three due bursts show that one is missing."""
    sent: list[bool] = []
    for _ in range(DUE):
        held_back = all(sent[-RUN_MAX:]) and len(sent) >= RUN_MAX
        sent.append(bool(rng.uniform() < share) and not held_back)
    return sent


def stretches(rng: np.random.Generator) -> list[bool]:
    """One or two bursts, then two to five missing, and so on."""
    sent: list[bool] = [False] * int(rng.integers(0, 3))
    while len(sent) < DUE:
        sent += [True] * int(rng.integers(1, RUN_MAX + 1)) + [False] * int(rng.integers(2, 6))
    return sent


def lets_go(rng: np.random.Generator) -> list[bool]:
    """Sound for three to six bursts, then stuck open for as long as anybody listens."""
    good = int(rng.integers(3, 7))
    return [n < good for n in range(DUE)]
