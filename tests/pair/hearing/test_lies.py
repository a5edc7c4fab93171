"""Scenes of the second yard of which the probe once said what must never be said, by the place that replays them."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest

from tests.bench.hearing import firmware
from tests.bench.otheryard.run import scene_of, word_of
from tests.bench.otheryard.truth import FALSE_DEAD, FALSE_PASS, FAULT_JUDGED, judge

# A loose contact that leaves bursts out of a loop whose cycle the siblings show.
BY_SIBLINGS = (
    "loose_second:777001:0",
    "loose_second:777001:15",
    "loose_third:777001:38",
    "loose_third:777001:125",
    "loose_third:40117:6",
    "loose_second:777001:143",
)
# The same among siblings too faint to be heard, after another place of the bumper told the cycle.
BY_ANOTHER_PLACE = ("loose_second:777001:79", "loose_third:777001:15")
# A supply's packets, 11 ms apart, taken for a siblings' train.
TICKING = ("only_supply_packets:91239:4",)
# A port that was clogged since the last place: nothing but the held sensor is heard, and that faintly.
CLOGGED = ("microphone_clogged:40117:1", "microphone_clogged:91239:9")


@pytest.fixture(scope="module")
def hear() -> Iterator[Callable[[Any], Any]]:
    """One firmware process for all of them."""
    with firmware.probe() as hearing:
        yield hearing


@pytest.mark.parametrize("place", [*BY_SIBLINGS, *BY_ANOTHER_PLACE, *TICKING, *CLOGGED])
def test_a_lie_once_told_is_not_told_again(hear: Callable[[Any], Any], place: str) -> None:
    kind, seed, index = place.split(":")
    scene = scene_of("bumper", kind, int(seed), int(index))
    said = word_of("bumper", hear(scene))
    assert judge(scene.truth, said) not in (FALSE_PASS, FALSE_DEAD, FAULT_JUDGED), said
