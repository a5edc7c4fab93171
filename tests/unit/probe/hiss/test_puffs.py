"""Loud blocks within a second: which runs are a hiss, and when a background lets them be told."""

from array import array

import pytest
from curbtick_probe.hiss.meter import ANALYSED
from curbtick_probe.hiss.puffs import Puffs

STEADY, LOUD = 1000, 3000


class Meter:
    """Energies of the twelve sub-bands, the same in all of a block's."""

    start_sub = 3

    def __init__(self, blocks: list[int], burst: bool = False) -> None:
        self.rows = array("i", [energy for energy in blocks for _ in range(12)])
        if burst:
            for k in range(len(blocks)):
                self.rows[12 * k + 4] = 100 * LOUD


def learned(blocks: list[int] | None = None) -> Puffs:
    puffs = Puffs()
    for _ in range(6):
        puffs.learn(Meter([STEADY] * ANALYSED))
    puffs.learn(Meter(blocks or [STEADY] * ANALYSED))
    return puffs


def looked(puffs: Puffs, loud: list[int], burst: bool = False, drift_cdb: int = 0) -> list[bool]:
    """Whether a hiss is found in each update, of which so many blocks of `loud` are loud, from the middle on."""
    found = []
    for count in loud:
        blocks = [STEADY] * (ANALYSED - count - 2) + [LOUD] * count + [STEADY] * 2
        puffs.add(Meter(blocks[-ANALYSED:], burst), drift_cdb)
        found.append(puffs.found)
    return found


@pytest.mark.parametrize(
    ("loud", "found"),
    [
        ([0, 0, 0], [False] * 3),
        ([3, 3, 3, 3], [False] * 4),
        ([9, 9], [False, False]),
        ([10], [True]),
        ([4, 4, 4], [False, False, True]),
        ([4, 0, 4, 0, 4, 0], [False, False, False, False, True, False]),
    ],
)
def test_a_long_run_or_the_third_short_one_is_a_hiss(loud: list[int], found: list[bool]) -> None:
    assert looked(learned(), loud) == found


def test_a_run_goes_on_into_the_next_update() -> None:
    puffs = learned()
    puffs.add(Meter([STEADY] * 11 + [LOUD] * 5), 0)
    assert not puffs.found and puffs.loud == 5
    puffs.add(Meter([LOUD] * 5 + [STEADY] * 11), 0)
    assert puffs.found and puffs.height_cdb == pytest.approx(477, abs=3)


def test_a_pause_ends_a_run() -> None:
    puffs = learned()
    puffs.add(Meter([STEADY] * 7 + [LOUD] * 9), 0)
    puffs.restart()
    puffs.add(Meter([LOUD] * 9 + [STEADY] * 7), 0)
    assert not puffs.found


def test_a_burst_in_one_sub_band_is_not_broad() -> None:
    puffs = learned()
    assert looked(puffs, [12], burst=True) == [False] and puffs.loud == 0


def test_a_drift_of_the_background_is_no_hiss() -> None:
    assert looked(learned(), [12], drift_cdb=200) == [False]


def test_a_background_with_a_run_of_its_own_is_not_calm() -> None:
    assert learned().calm and learned([STEADY] * 15 + [LOUD]).calm
    assert not learned([STEADY] * 14 + [LOUD] * 2).calm
