"""An ear that plays by the count of conversions of each listening, so that two boards hear the same samples.

A board's clock differs from another's by what its program takes; what it hears must not. Each listening, a run of reads
that follow each other on one input, begins at a moment of its own in the scene, with electronics of its own.
"""

from __future__ import annotations

from collections.abc import Callable

from curbtick.yard.ear.ear import Ear
from curbtick.yard.front_end.inputs import Samples

SAMPLE_US = 4
# Listenings begin so far apart that none reaches the next.
APART_US = 60e6
GAP_US = 30.0


class CountedEar(Ear):
    """Plays `make()`'s scene to each listening, the first of the scene's minutes to the first."""

    def __init__(self, make: Callable[[], Ear]) -> None:
        super().__init__()
        self._make = make
        self._scene = make()
        self.probe, self.adc = self._scene.probe, self._scene.adc
        self._input = -1
        self._next_us = -1.0
        self._count = 0
        # Samples that each listening took.
        self.listenings: list[int] = []

    def read(self, count: int, input: int, start_us: float) -> Samples:
        """The next samples of this listening, or the first of a new one."""
        if input != self._input or abs(start_us - self._next_us) > GAP_US:
            self._scene, self._count = self._make(), 0
            self.listenings.append(0)
        begin_us = (len(self.listenings) - 1) * APART_US + self._count * SAMPLE_US
        self._input, self._next_us = input, start_us + count * SAMPLE_US
        self._count += count
        self.listenings[-1] = self._count
        return self._scene.read(count, input, begin_us)
